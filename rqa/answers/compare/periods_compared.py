"""Two periods compared: what changed, how much of it is another mix of work, and how much the work itself."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from rqa.answers.comebacks.rate import INDEX_DISPOSITIONS, comebacks
from rqa.answers.compare.period_words import HIGHER, LOWER, ONLY, SAME, told_in_words
from rqa.answers.core.case_lists import CHECKS, RUNS, CaseList, Count
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.job_clusters import bunches_of_groups, by_job_note, effects_of_groups
from rqa.answers.core.readable import POINTS, SHARE
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_one_of, month_range, scope
from rqa.answers.core.scope import month_end as last_of
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.errors import RequestError

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MixAndRate

QUESTION = "between"
MEASURES = ("comebacks", "first_pass_yield", "first_run_pass")
INTERACTIONS = ("shared", "apart")
JOB_GROUPS = ("site", "model", "procedure", "technician", "billing", "class")
CHECK_GROUPS = ("site", "model", "procedure", "billing")
"""Groupings under which all checks of a job stand together: the job is what is sampled."""
LOGS = {"first_pass_yield": "steps", "first_run_pass": "diagnostics"}
COUNTED = {"comebacks": ("matured", "returned", "rate")}
OF_CHECKS = ("exposures", "passed", "yield")
FALSE_SHARE = 0.05
"""Share of the changes said to be there that may be due to chance."""
COUNTS = ("cases_before", "events_before", "cases_after", "events_after")
PARTS = ("rate", "mix", "interaction")
Numbers = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class PeriodsCompared(Answer):
    """Two periods compared: cases, events, rate and share of each, change, rate_part, mix_part, part, verdict.

    `parts` has a row each for the whole difference and what it is made of: part, size, low, high, verdict.
    """

    parts: "pl.DataFrame | None" = field(default=None, kw_only=True)

    question = "Two periods compared"
    in_table_only = (
        "cases_before", "cases_after", "events_before", "events_after", "p_adjusted", "share_before", "share_after",
        "change_low", "change_high",
    )
    units: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("rate_before", "rate_after", "share_before", "share_after"), SHARE),
        **{f"{name}{end}": POINTS for name in ("change", "rate_part", "mix_part") for end in ("", "_low", "_high")},
        "part": POINTS,
    }

    def units_asked(self) -> Mapping[str, str]:
        """The part that belongs to both is in points, too, where it stands apart."""
        apart = [name for name in self.table.columns if name.startswith("interaction_part")]
        return {**self.units, **dict.fromkeys(apart, POINTS)}

    def listed(self) -> CaseList:
        """The jobs, checks or runs of either period."""
        measure = self.settings["measure"]
        day = "closed_day" if measure == "comebacks" else "day"
        whole, part = ("matured", "returned") if measure == "comebacks" else ("exposure", "passed")
        counts = {}
        for name in ("after", "before"):
            first, last = self._months(name)
            kept = ((day, ">=", first), (day, "<=", last_of(last)))
            counts[f"cases_{name}"] = Count((whole,), kept=kept)
            counts[f"events_{name}"] = Count((part,), classed=measure == "comebacks", kept=kept)
        if measure == "comebacks":
            return CaseList("listed_index_jobs", counts, returned="events_after")
        steps = measure == "first_pass_yield"
        return CaseList("listed_attempts" if steps else "listed_runs", counts, rows=CHECKS if steps else RUNS)

    def _months(self, name: str) -> tuple[date, date]:
        spans: Any = self.settings
        first, last = spans[name]
        return first, last


def between(
    snapshot: Snapshot,
    before: Months,
    after: Months,
    *,
    by: By = ("model",),
    measure: str = "comebacks",
    window: int = 30,
    where: Where | None = None,
    interaction: str = "shared",
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> PeriodsCompared:
    """Say what changed from one period to a later one: by another mix of work, and by other rates on the same work.

    `before` and `after` are months, or first and last month, without one in both. `measure`: "comebacks" (within
    `window` days, of units closed with `index_disposition`), "first_pass_yield" or "first_run_pass" (diagnostics). `by`
    takes site, model, procedure, billing, and for come-backs technician and class; `where` what the measure takes.
    `interaction`: the part that belongs to both mix and rate is "shared" half and half, or stands "apart".

    Columns: cases_before, events_before (matured jobs and come-backs, or first checks and passes), rate_before =
    events / cases, share_before of all cases; the same after; change of the rate, with limits and p_adjusted for how
    many groups were looked at; rate_part (the change at the mean share), mix_part (the change of the share, times how
    far the group's rate lies above that of all), each with limits; interaction_part where it stands apart; part, their
    sum, the largest first; verdict ("higher", "lower", "no difference shown", "only before", "only after").

    `.parts` has the whole difference and its parts with limits and verdict. Limits: Wilson's, joined by MOVER, and what
    the mix varies by; for checks the job is what is sampled. By class all jobs stand in every class: there is no mix.
    Parts say where a difference lies, not what caused it. Source: Kitagawa, JASA 50, 1955, 1168-1194.

    Raises `RequestError` for periods that overlap or stand in the wrong order, and for names that do not exist.

    >>> r = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"), by="model")
    >>> r.parts.select("part", "size", "low", "high", "verdict").row(0)
    ('difference', -0.055709, -0.089349, -0.023269, 'lower')

    Of the units repaired early in 2026, 5.6 points fewer came back than of those of the summer before.
    """
    from rqa.stats import mix_and_rate

    check_level(QUESTION, level)
    check_one_of(QUESTION, "measure", measure, MEASURES)
    check_one_of(QUESTION, "interaction", interaction, INTERACTIONS)
    check_one_of(QUESTION, "index_disposition", index_disposition, INDEX_DISPOSITIONS)
    days_asked(QUESTION, "window", window)
    asked = scope(QUESTION, by=by, where=None, months=None,
                  allowed=JOB_GROUPS if measure == "comebacks" else CHECK_GROUPS)
    spans = _spans(before, after)
    answers = [_counted(snapshot, asked.by, measure, window, where, span, index_disposition, level) for span in spans]
    table = _beside(answers, asked.by, measure)
    classes = ["class"] if "class" in asked.by else []
    groups = [name for name in asked.by if name not in classes]
    how = {"interaction": interaction, "level": level}
    extra = _bunched(snapshot, answers, table, measure, spans, level)
    found = mix_and_rate(**_arrays(table, groups, classes), **extra, **how)  # type: ignore[arg-type]
    whole = _over_classes(table, groups) if classes else table
    over_all = mix_and_rate(**_arrays(whole, groups, []), **extra, **how)  # type: ignore[arg-type]
    where_kept = answers[0].settings["where"]
    settings = {
        "measure": measure, "before": spans[0], "after": spans[1], "by": asked.by, "where": where_kept,
        "as_of": snapshot.day, "interaction": interaction, "level": level, "method": "Kitagawa",
    }
    if measure == "comebacks":
        settings |= {"window": window, "index_disposition": index_disposition}
    told = _told(table, found, classes, interaction)
    parts = _parts(over_all, interaction, untold=bool(told["untold"].all()))
    notes = [note for answer in answers for note in answer.notes if note not in snapshot.notes]
    notes = [*snapshot.notes, *told_in_words(parts, whole, settings), *dict.fromkeys(notes)]
    if extra:
        notes += by_job_note(np.concatenate([extra["effect1"], extra["effect2"]]))
    return PeriodsCompared(told.drop("untold"), settings, tuple(dict.fromkeys(notes)), parts=parts)


def _spans(before: Months, after: Months) -> tuple[tuple[date, date], tuple[date, date]]:
    one, two = (month_range(QUESTION, each) for each in (before, after))
    if one is None or two is None:
        raise RequestError(f'{QUESTION}: before and after take months each, like ("2025-10", "2025-12").')
    if one[1] >= two[0]:
        raise RequestError(
            f"{QUESTION}: before, {one[0]:%Y-%m} to {one[1]:%Y-%m}, ends before after begins, {two[0]:%Y-%m} to "
            f"{two[1]:%Y-%m}, and no month is in both."
        )
    return one, two


def _counted(
    snapshot: Snapshot, by: tuple[str, ...], measure: str, window: int, where: Where | None,
    span: tuple[date, date], disposition: str, level: float,
) -> Answer:
    """The measure of one period."""
    if measure == "comebacks":
        return comebacks(
            snapshot, window, by=by, where=where, months=span, index_disposition=disposition, level=level
        )
    return first_pass_yield(snapshot, by, where=where, months=span, level=level, of=LOGS[measure])


def _beside(answers: list[Answer], by: tuple[str, ...], measure: str) -> "pl.DataFrame":
    """A row a group with the counts of both periods; `untold` where a period's rate cannot be told."""
    import polars as pl

    cases, events, rate = COUNTED.get(measure, OF_CHECKS)
    sides = []
    for answer, name in zip(answers, ("before", "after"), strict=True):
        unknown = pl.col(rate).is_null() & (pl.col(cases) > 0)
        sides.append(answer.table.select(
            *by, pl.col(cases).alias(f"cases_{name}"), pl.col(events).alias(f"events_{name}"),
            unknown.alias(f"untold_{name}"),
        ))
    one, two = sides
    if by:
        table = one.join(two, on=list(by), how="full", coalesce=True)
    else:
        table = pl.concat([one, two], how="horizontal")
    untold = pl.col("untold_before").fill_null(False) | pl.col("untold_after").fill_null(False)
    table = table.select(*by, *(pl.col(name).fill_null(0) for name in COUNTS), untold.alias("untold"))
    if "class" not in by:
        return table.filter((pl.col("cases_before") + pl.col("cases_after")) > 0) if by else table
    # Every class has its group beside it, also where none came back in a period.
    rest = [name for name in by if name != "class"]
    every = table.select("class").unique().sort("class")
    each = table.select(rest).unique() if rest else None
    full = (each.join(every, how="cross") if each is not None else every).join(table, on=list(by), how="left")
    full = full.with_columns(pl.col(name).fill_null(0) for name in COUNTS).with_columns(
        pl.col("untold").fill_null(False)
    )
    sized = [(pl.col(name).max().over(rest) if rest else pl.col(name).max()).alias(name) for name in COUNTS[::2]]
    full = full.with_columns(sized).filter((pl.col("cases_before") + pl.col("cases_after")) > 0)
    return full.sort("class", *rest).select(*by, *COUNTS, "untold")


def _over_classes(table: "pl.DataFrame", groups: list[str]) -> "pl.DataFrame":
    """The counts by group: events add up over the classes, cases are the same in all."""
    import polars as pl

    counts = [pl.col(name).sum() if name.startswith("events") else pl.col(name).first() for name in COUNTS]
    if groups:
        return table.group_by(groups, maintain_order=True).agg(counts)
    return table.select(counts).with_columns(pl.all().fill_null(0))


def _arrays(table: "pl.DataFrame", groups: list[str], classes: list[str]) -> dict[str, NDArray[np.int64]]:
    """The counts of the table, by class and group where it has classes (they come first in its order)."""
    shape = (table["class"].n_unique(), -1) if classes and table.height else (-1,)
    named = zip(("cases1", "events1", "cases2", "events2"), COUNTS, strict=True)
    return {key: table[name].to_numpy().reshape(shape) for key, name in named}


def _bunched(
    snapshot: Snapshot, answers: list[Answer], table: "pl.DataFrame", measure: str,
    spans: tuple[tuple[date, date], ...], level: float,
) -> dict[str, Numbers]:
    """What allows for checks of one job that go together; nothing for jobs."""
    if measure == "comebacks":
        return {}
    made: dict[str, Numbers] = {}
    for place, (answer, span) in enumerate(zip(answers, spans, strict=True), 1):
        s = answer.settings
        asked = Scope(s["by"], s["where"], span)  # type: ignore[arg-type]
        groups = table.select(asked.by).rows() if asked.by else [()] * table.height
        cases = table[COUNTS[2 * place - 2]].to_numpy()
        squares = bunches_of_groups(snapshot, groups, asked, log=LOGS[measure])
        made[f"squares{place}"] = np.maximum(squares, cases).astype(np.float64)
        made[f"effect{place}"] = effects_of_groups(snapshot, groups, asked, log=LOGS[measure], level=level)
    return made


def _told(table: "pl.DataFrame", found: "MixAndRate", classes: list[str], interaction: str) -> "pl.DataFrame":
    """The table with what was found of each group, the largest part first; no figure where it cannot be told."""
    import polars as pl

    from rqa.stats import benjamini_hochberg

    def flat(values: Numbers) -> Numbers:
        return np.asarray(values).ravel()

    p = _p_values(flat(found.change), flat(found.change_low), flat(found.change_high), found.level)
    untold = table["untold"].to_numpy()
    adjusted = benjamini_hochberg(p_values=np.where(untold, np.nan, p), allowed=FALSE_SHARE).p_adjusted
    part = flat(found.rate) + flat(found.mix) + flat(found.interaction)
    columns: dict[str, Numbers] = {
        "rate_before": flat(found.rate1), "share_before": flat(found.share1), "rate_after": flat(found.rate2),
        "share_after": flat(found.share2),
        **{f"change{end}": flat(getattr(found, f"change{end}")) for end in ("", "_low", "_high")},
    }
    parts = PARTS if interaction == "apart" else PARTS[:2]
    columns |= {f"{n}_part{end}": flat(getattr(found, f"{n}{end}")) for n in parts for end in ("", "_low", "_high")}
    columns["part"] = part
    made = table.with_columns(
        pl.when(~pl.col("untold")).then(rounded(values)).alias(name) for name, values in columns.items()
    ).with_columns(rounded_p_values(adjusted).alias("p_adjusted"))
    verdicts = [
        _verdict(change, p, before, after) for change, p, before, after in
        made.select("change", "p_adjusted", "cases_before", "cases_after").iter_rows()
    ]
    made = made.with_columns(pl.Series("verdict", verdicts, dtype=pl.String))
    keys = [name for name in made.columns if name in (*JOB_GROUPS,)]
    order = [
        *keys, "cases_before", "events_before", "rate_before", "share_before", "cases_after", "events_after",
        "rate_after", "share_after", "change", "change_low", "change_high", "p_adjusted",
        *(f"{n}_part{end}" for n in parts for end in ("", "_low", "_high")), "part", "verdict", "untold",
    ]
    size = pl.col("part").abs().fill_null(-1.0)
    return made.sort(size, *keys, descending=[True, *[False] * len(keys)]).select(order)


def _p_values(change: Numbers, low: Numbers, high: Numbers, level: float) -> Numbers:
    """How often chance alone would set the rates as far apart, by how far the limits reach."""
    from scipy import special

    z = -float(special.ndtri((1.0 - level) / 2.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.where(change > 0, change - low, high - change)
        return np.where(change == 0, 1.0, 2.0 * special.ndtr(-np.abs(change) / reach * z))


def _verdict(change: float | None, p: float | None, before: int, after: int) -> str | None:
    if not before or not after:
        return ONLY["after" if after else "before"] if before or after else None
    if change is None or p is None:
        return None
    return SAME if p > FALSE_SHARE else HIGHER if change > 0 else LOWER


def _parts(found: "MixAndRate", interaction: str, *, untold: bool) -> "pl.DataFrame":
    """The difference and what it is made of."""
    import polars as pl

    names = ("difference", *(f"{name}_total" for name in (PARTS if interaction == "apart" else PARTS[:2])))
    rows = []
    for name in names:
        size, low, high = (float(getattr(found, name + end)) for end in ("", "_low", "_high"))
        known = not untold and np.isfinite(size)
        rows.append({
            "part": name.removesuffix("_total"), "size": size if known else None, "low": low if known else None,
            "high": high if known else None,
            "verdict": None if not known else HIGHER if low > 0 else LOWER if high < 0 else SAME,
        })
    kinds = {"part": pl.String, "size": pl.Float64, "low": pl.Float64, "high": pl.Float64, "verdict": pl.String}
    return pl.DataFrame(rows, schema=kinds).with_columns(pl.col("size", "low", "high").round(6))
