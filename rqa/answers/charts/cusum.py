"""Watched job by job: do units come back more (or less) often than the mix of work explains."""

from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.periods import span_of
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_values, is_number, scope, split_groups
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import Kept, counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

    from rqa.spc import CusumChart


QUESTION = "comeback_cusum"
MIX = ("model", "procedure", "billing")
"""What a job's expected chance goes by."""
DAYS_A_MONTH = 365.25 / 12
FEWEST = 100
"""Matured jobs below which no expected chance is worth the name (common practice, no source)."""
TYPICAL = 200
"""Places at which the expected chances are taken to find the limit: their distribution, not every job."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class ComebackCusum(Answer):
    """Come-backs watched job by job: period, size, returned, expected, value, limit, signal."""

    question = "Come-back CUSUM"
    needs = SEEN

    def listed(self) -> CaseList:
        """The jobs watched: those closed after the baseline; a row is a day of closing."""
        span: Any = self.settings["baseline"]
        after: Kept = (("closed_day", ">", span[1]),) if span else ()
        day = {"period": ("closed_day", "=")}
        marks = {"size": "matured", "returned": "returned"}
        return CaseList("listed_index_jobs", {name: Count((mark,), kept=after, at=day) for name, mark in marks.items()})


def comeback_cusum(
    snapshot: Snapshot,
    by: By = (),
    *,
    window: int = 30,
    where: Where | None = None,
    odds: float = 2.0,
    adjusted: bool = True,
    baseline: Months | None = None,
    false_alarm_months: float = 60.0,
) -> ComebackCusum:
    """Say, job by job, whether come-backs became more frequent than the mix of work explains, and since when.

    Parameters
    ----------
    by, where
        One chart for each group, and filters: site, model, procedure, technician, billing.
    window
        Days within which a return counts as a come-back. Only matured jobs are watched.
    odds
        By how much the odds of a come-back are to have changed: 2 watches for a doubling, 0.5 for a halving.
    adjusted
        True: each job is judged by the chance that its model, procedure and billing had in the baseline, all groups
        together (risk-adjusted CUSUM). False: by one chance for all (Bernoulli CUSUM).
    baseline
        Closing months (or days), both ends included, that say what to expect; what was closed after them is judged.
        None takes the first half of the matured jobs.
    false_alarm_months
        Average number of months between false alarms on steady work, at the group's own volume; sets the limit.

    Returns
    -------
    ComebackCusum
        A row a group and day after the baseline on which jobs closed. Columns: period (the day), size (matured jobs
        closed), returned, expected (what their chances add up to), value (the highest sum that day), limit, signal (""
        or since when the sum that reached the limit had been growing).

    Notes
    -----
    Landmarks: the sum never falls under 0. Fewer than 100 matured jobs, or a baseline in which none or all came back,
    give no rows and a note; so does a group without jobs after the baseline. Mixes that the baseline
    has few jobs of are drawn towards the share of all (beta-binomial), and those it has none of get that share.

    References
    ----------
    1. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452.
    2. M. R. Reynolds and Z. G. Stoumbos, Journal of Quality Technology 31, 1999, 87-108.

    Examples
    --------
    >>> r = depot.charts.cusum().table
    >>> round(r["value"].max(), 1), round(r["limit"][0], 1)
    (2.3, 4.9)

    The sum reached 2.3 at most; at 4.9 it would have signalled.
    """
    import polars as pl

    groups = split_groups(QUESTION, by)
    asked = scope(QUESTION, by=groups, where=where, months=None, allowed=JOB_NAMES)
    check_values(snapshot.store, QUESTION, asked.where)
    days_asked(QUESTION, "window", window)
    if not is_number(odds) or odds <= 0 or odds == 1:
        raise RequestError(f"{QUESTION}: odds is a factor above 0 and not 1, such as 2 or 0.5: {odds!r}.")
    if not is_number(false_alarm_months) or false_alarm_months <= 0:
        raise RequestError(f"{QUESTION}: false_alarm_months is a number of months above 0: {false_alarm_months!r}.")
    table = _jobs(snapshot, asked, window)
    settings: dict[str, object] = {
        "window": window, "as_of": snapshot.day, "by": groups, "where": dict(asked.where), "odds": odds,
        "chart": "risk-adjusted CUSUM" if adjusted else "Bernoulli CUSUM", "baseline": None,
        "false_alarm_months": false_alarm_months,
    }
    if table.height < FEWEST:
        few = (
            f"{counted(table.height, 'matured job is', 'matured jobs are')} too few to say what to expect; it takes "
            f"{FEWEST} or more."
        )
        return _nothing(table, groups, settings, (*snapshot.notes, few))
    before, after, span = _split(table, baseline)
    settings["baseline"] = span
    share = float(before["returned"].to_numpy().mean())
    if not 0.0 < share < 1.0:
        alike = (
            f"{'None' if share == 0 else 'All'} of the {counted(before.height, 'job')} of the baseline ({span[0]} to "
            f"{span[1]}) came back, so there is nothing to tell a change by; give a longer baseline=."
        )
        return _nothing(table, groups, settings, (*snapshot.notes, alike))
    expected = _expected(before, after, share) if adjusted else np.full(after.height, share)
    frames = []
    for group, places in _places(after, groups):
        part, chances = after[places], expected[places]
        quiet = _per_month(part) * false_alarm_months
        chart = _watched(part["returned"].to_numpy(), chances, share, odds, quiet, adjusted=adjusted)
        frames.append(_by_day(part, groups, group, chances, chart, odds))
    notes = [*snapshot.notes, *_notes(before, after, span, share, adjusted, false_alarm_months, odds)]
    return ComebackCusum(pl.concat(frames), settings, tuple(notes))


def _jobs(snapshot: Snapshot, asked: Scope, window: int) -> "pl.DataFrame":
    import polars as pl

    names = list(dict.fromkeys((*asked.by, *MIX)))
    values = {"window": window, "as_of": snapshot.day, "disposition": "repaired"}
    table = counts(snapshot.store, "comeback_sequence", by=names, where=asked.where, values=values)
    return table.with_columns(pl.concat_str([pl.col(n) for n in MIX], separator="\x1f").alias("mix"))


def _nothing(
    table: "pl.DataFrame", groups: tuple[str, ...], settings: dict[str, object], notes: tuple[str, ...]
) -> ComebackCusum:
    """An answer without rows, whose last note says why."""
    import polars as pl

    schema: dict[str, pl.DataType] = {name: table.schema[name] for name in groups}
    schema |= {"period": pl.Date(), "size": pl.Int64(), "returned": pl.Int64(), "expected": pl.Float64(),
               "value": pl.Float64(), "limit": pl.Float64(), "signal": pl.String()}
    return ComebackCusum(pl.DataFrame(schema=schema), settings, notes)


def _split(table: "pl.DataFrame", baseline: Months | None) -> tuple["pl.DataFrame", "pl.DataFrame", tuple[date, date]]:
    """The jobs that say what to expect, and those closed later, which are judged."""
    days: list[date] = table["closed_on"].sort().to_list()
    span = (days[0], days[len(days) // 2 - 1]) if baseline is None else span_of(QUESTION, "baseline", baseline)
    before = table.filter(table["closed_on"].is_between(*span))
    after = table.filter(table["closed_on"] > span[1])
    if before.is_empty() or after.is_empty():
        where = "in the baseline" if before.is_empty() else "after the baseline"
        raise RequestError(
            f"{QUESTION}: no matured job was closed {where} ({span[0]} to {span[1]}); the store's run from {days[0]} "
            f"to {days[-1]}."
        )
    return before, after, span


def _expected(before: "pl.DataFrame", after: "pl.DataFrame", share: float) -> Floats:
    """The chance of each judged job, by its mix."""
    import polars as pl

    from rqa.stats import beta_binomial_shrinkage

    mixes = before.group_by("mix").agg(pl.len().alias("jobs"), pl.col("returned").sum()).sort("mix")
    found = beta_binomial_shrinkage(successes=mixes["returned"].to_numpy(), trials=mixes["jobs"].to_numpy(),
                                    method="plug-in")
    known = dict(zip(mixes["mix"].to_list(), found.estimate.tolist(), strict=True))
    return np.array([known.get(mix, share) for mix in after["mix"]], dtype=np.float64)


def _places(table: "pl.DataFrame", groups: tuple[str, ...]) -> list[tuple[tuple[object, ...], Ints]]:
    if not groups:
        return [((), np.arange(table.height))]
    numbered = table.select(groups).with_row_index("row").sort([*groups, "row"])
    parts = numbered.partition_by(list(groups), maintain_order=True)
    return [(tuple(p[g][0] for g in groups), p["row"].to_numpy().astype(np.int64)) for p in parts]


def _per_month(part: "pl.DataFrame") -> float:
    days = (part["closed_on"].max() - part["closed_on"].min()).days + 1  # type: ignore[operator,union-attr]
    return float(part.height / max(days / DAYS_A_MONTH, 1.0))


def _watched(
    returned: Ints, expected: Floats, share: float, odds: float, jobs: float, *, adjusted: bool
) -> "CusumChart":
    """The sum over one group's jobs, with the limit that lets steady work be quiet for so many jobs on average."""
    from rqa.spc import BernoulliDesign, RiskAdjustedDesign, bernoulli_cusum, limit_for, risk_adjusted_cusum

    wanted = max(jobs, 2.0)
    if adjusted:
        typical = np.quantile(expected, (np.arange(TYPICAL) + 0.5) / TYPICAL)
        design = limit_for(RiskAdjustedDesign(expected=tuple(typical.tolist()), odds_ratio=odds), run_length=wanted)
        h = float(design.h)  # type: ignore[union-attr]
        return risk_adjusted_cusum(outcome=returned, expected=expected, odds_ratio=odds, h=h)
    changed = odds * share / (1.0 - share + odds * share)
    h = float(limit_for(BernoulliDesign(p0=share, p1=changed), run_length=wanted).h)  # type: ignore[union-attr]
    return bernoulli_cusum(returned, p0=share, p1=changed, h=h)


def _by_day(
    part: "pl.DataFrame", groups: tuple[str, ...], group: tuple[object, ...], expected: Floats, chart: "CusumChart",
    odds: float,
) -> "pl.DataFrame":
    import polars as pl

    days = part["closed_on"].to_list()
    said = [""] * len(days)
    begun = -1
    for signal in chart.signals:
        # A sum that hovers about its limit reaches it again and again: that is one signal, not many.
        if min(signal.points) != begun:
            begun = min(signal.points)
            said[signal.index] = f"{'more' if odds > 1 else 'fewer'} come-backs, growing since {days[begun]}"
    sums = chart.high if odds > 1 else chart.low
    jobs = part.select("closed_on", "returned").with_columns(
        pl.Series("expected", expected),
        pl.Series("value", np.asarray(sums)),
        pl.Series("signal", said, dtype=pl.String),
    )
    daily = jobs.group_by("closed_on").agg(
        pl.len().cast(pl.Int64).alias("size"), pl.col("returned").sum(), pl.col("expected").sum(),
        pl.col("value").max(), pl.col("signal").filter(pl.col("signal") != "").first().fill_null(""),
    ).sort("closed_on")
    named = [pl.Series(n, [v] * daily.height, dtype=part.schema[n]) for n, v in zip(groups, group, strict=True)]
    return daily.select(
        *named,
        pl.col("closed_on").alias("period"), "size", "returned",
        pl.Series("expected", rounded(daily["expected"])), pl.Series("value", rounded(daily["value"])),
        pl.Series("limit", rounded([chart.limit] * daily.height)), "signal",
    )


def _notes(
    before: "pl.DataFrame", after: "pl.DataFrame", span: tuple[date, date], share: float, adjusted: bool,
    quiet: float, odds: float,
) -> list[str]:
    often = "more" if odds > 1 else "less"
    notes = [
        f"Expected from {counted(before.height, 'matured job')} closed {span[0]} to {span[1]}, of which "
        f"{100 * share:.1f} % came back; judged are the {after.height:,} closed later.",
        f"The sum grows with each job that speaks for {counted(f'{odds:g}', 'time')} the odds, falls with each that "
        f"speaks against, and never under 0. Reaching the limit says that units came back {often} often than expected; "
        f"on steady work that happens once in {counted(f'{quiet:g}', 'month')} on average, if the baseline's chances "
        "are right.",
    ]
    if adjusted:
        new = sum(mix not in set(before["mix"]) for mix in after["mix"].unique())
        notes.append(
            "Each job is expected to come back as its model, procedure and billing did in the baseline, small mixes "
            "drawn towards the share of all"
            + (f"; {counted(new, 'mix', 'mixes')} without any job there got that share." if new else ".")
        )
    notes.append("Jobs of one day are taken in the order in which they were closed; a day shows its highest sum.")
    return notes
