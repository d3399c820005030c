"""One technician's own work beside comparable work: what goes well first, then practice, then what to practise."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from rqa.answers.compare.comparison import LEAST, compare
from rqa.answers.compare.expected_counts import OUTCOMES
from rqa.answers.compare.own_work_words import ABOVE, BELOW, SAME, goes_well, to_practise
from rqa.answers.compare.practice import learning
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.grounds import grounds
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.readable import NUMBER
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Months, Snapshot, check_level, month_range, whole_number
from rqa.answers.core.scope_notes import scope_notes
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.errors import RequestError
from rqa.shown import told
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "technician"
MEASURES = tuple(OUTCOMES)
KIND = ("model", "procedure", "billing", "step")
FALSE_SHARE = 0.05
PURPOSE = (
    "This sheet is for coaching. It shows one person's work beside the same work in the depot, without a rank and "
    "without the names of others. Ask the person first what the work was like. Before it is used, see what local "
    "labour and privacy law and the works council allow. Battery, ESD and sharp-edge work stays with trained "
    "and licensed staff, whatever a figure here says."
)


@dataclass(frozen=True, eq=False, repr=False)
class OwnWork(Answer):
    """One technician's work: measure, step, cases, events, expected, ratio, low, high, p_adjusted, verdict.

    `strengths` and `practise` say it in sentences; `learning` has a row a procedure: jobs, first checks, yield, how it
    changed with practice.
    """

    strengths: tuple[str, ...] = field(default=(), kw_only=True)
    practise: tuple[str, ...] = field(default=(), kw_only=True)
    learning: "pl.DataFrame | None" = field(default=None, kw_only=True)

    question = "Own work"
    needs = ("technician",)
    units: ClassVar[Mapping[str, str]] = dict.fromkeys(("ratio", "low", "high", "expected"), NUMBER)
    lists = 'depot.compare("technician", outcome=…).jobs(technician=…) lists the jobs behind these figures.'


def technician(
    snapshot: Snapshot,
    technician: str,
    *,
    months: Months | None = None,
    window: int = 30,
    min_cases: int = LEAST,
    level: float = 0.95,
) -> OwnWork:
    """Put one technician's own work beside what the same work brings in the whole depot: for coaching.

    `technician` is the name as the logs have it. `months`: closing months of the jobs, by default all. `window`: days
    for come-backs. Refused where fewer than `min_cases` first checks, and fewer matured jobs, can be compared. No rank,
    and no other person.

    Columns: measure (first_pass, first_run, comeback, clean_job: see `compare`), step (null: all work), cases (first
    checks, runs or jobs that can be compared), events (failed, came back, not clean), expected (what the same work
    brings), ratio = events / expected with its exact Poisson interval low, high, p_adjusted (for how many rows of the
    kind were looked at), verdict. Steps with `min_cases` first checks beside others' on the same model, procedure and
    billing have a row. `.strengths` comes first, `.learning` shows the yield by procedure with practice (`yields.
    learning`), `.practise` what to practise.

    Raises `RequestError` for a name that the store does not have, and for too little work.

    >>> r = depot.technician("T07")
    >>> r.table.select("measure", "cases", "events", "verdict").row(0)
    ('first_pass', 2309, 64, 'not distinguishable')

    As many first checks failed as the same work brings, as far as can be told.
    """
    import polars as pl

    check_level(QUESTION, level)
    whole_number(QUESTION, "min_cases", min_cases, 1, of="cases")
    days_asked(QUESTION, "window", window)
    if not isinstance(technician, str):
        raise RequestError(
            f"{QUESTION}: technician is a name as the logs have it, not {technician!r}. Where the store has none, add "
            'technician = "…" to [table.columns] in sources.toml.'
        )
    span = month_range(QUESTION, months)
    how: dict[str, Any] = {"months": months, "min_cases": min_cases, "level": level}
    fair = {outcome: compare(snapshot, outcome=outcome, window=window, **how) for outcome in MEASURES}
    there = grounds(snapshot, months=span, window=window)
    unseen = ("comeback",) if there.lacking("repeat_units") else ()
    rows = [_whole(answer, outcome, technician) for outcome, answer in fair.items() if outcome not in unseen]
    steps = _steps(snapshot, technician, months, min_cases, level)
    if all(row is None for row in rows) and not _is_there(snapshot, technician):
        raise RequestError(
            f"{QUESTION}: there is no technician {told(technician)} in the store. The names are those of the logs; "
            'where there is none, add technician = "…" to [table.columns] in sources.toml.'
        )
    most = max((row["cases"] for row in rows if row), default=0)
    if most < min_cases:
        why = " ".join(("", *scope_notes(snapshot, {"months": span})))
        raise RequestError(
            f"{QUESTION}: {told(technician)} has at most {counted(most, 'case')} that can be compared, fewer than "
            f"{min_cases}: too little work to say anything fair.{why}"
        )
    kinds = {
        "measure": pl.String, "step": pl.String, "cases": pl.Int64, "events": pl.Int64, "expected": pl.Float64,
        "ratio": pl.Float64, "low": pl.Float64, "high": pl.Float64, "p_adjusted": pl.Float64, "verdict": pl.String,
    }
    table = pl.DataFrame([row for row in rows if row] + steps, schema=kinds)
    grown = learning(snapshot, where={"technician": technician}, min_cases=min_cases, level=level)
    own = grown.table.drop("technician").sort("jobs", "procedure", descending=[True, False])
    settings = {
        "technician": technician, "as_of": snapshot.day, "months": span, "window": window, "min_cases": min_cases,
        "level": level,
    }
    notes = (
        *snapshot.notes,
        "Expected is what the same models, procedures, billing and steps bring in the whole depot.",
        PURPOSE, PEOPLE,
    )
    return OwnWork(
        table, settings, notes, strengths=goes_well(table), practise=to_practise(table, own, there),
        learning=own,
    )


def _is_there(snapshot: Snapshot, name: str) -> bool:
    """Whether the store has the technician at all."""
    found = first_pass_yield(snapshot, by=(), where={"technician": name}).table
    return bool(found["exposures"].sum() or found["unchecked"].sum())


def _whole(answer: Answer, outcome: str, name: str) -> dict[str, Any] | None:
    """One measure over all of the technician's work; None where there is none."""
    for row in answer.table.iter_rows(named=True):
        if row["technician"] == name:
            return {
                "measure": outcome, "step": None, "cases": row["exposures"], "events": row["observed"],
                **{k: row[k] for k in ("expected", "ratio", "low", "high", "p_adjusted", "verdict")},
            }
    return None


def _steps(
    snapshot: Snapshot, name: str, months: Months | None, min_cases: int, level: float
) -> list[dict[str, Any]]:
    """A row a step at which the technician has work enough beside that of others: the most work first."""
    import polars as pl

    from rqa.stats import benjamini_hochberg, standardised_ratio, stratified_exact_test

    cells = first_pass_yield(snapshot, by=("technician", *KIND), months=months).table
    own = pl.col("technician") == name
    mine, others = (
        cells.filter(kept).group_by(KIND).agg(pl.col("exposures", "failed").sum()) for kept in (own, ~own)
    )
    both = mine.filter(pl.col("exposures") > 0).join(others.filter(pl.col("exposures") > 0), on=KIND, suffix="_other")
    made = []
    for (step,), kinds in sorted(both.partition_by(["step"], as_dict=True).items()):
        kinds = kinds.sort(KIND)
        trials, events = (kinds.select(c, f"{c}_other").to_numpy().T for c in ("exposures", "failed"))
        if trials[0].sum() < min_cases:
            continue
        test = stratified_exact_test(events=events, trials=trials)
        ratio = standardised_ratio(observed=test.observed[:1], expected=test.expected[:1], level=level)
        told = [float(x[0]) for x in (test.expected, ratio.estimate, ratio.low, ratio.high, test.p_value)]
        made.append((step, int(trials[0].sum()), int(events[0].sum()), *told))
    adjusted = benjamini_hochberg(p_values=[row[-1] for row in made], allowed=FALSE_SHARE).p_adjusted
    rows: list[dict[str, Any]] = []
    for (step, cases, failed, expected, *ratio_of, _), p in zip(made, adjusted, strict=True):
        clear = bool(np.isfinite(p)) and p <= FALSE_SHARE
        values = dict(zip(("ratio", "low", "high"), rounded(ratio_of).to_list(), strict=True))
        rows.append({
            "measure": "first_pass", "step": step, "cases": cases, "events": failed, "expected": round(expected, 6),
            **values, "p_adjusted": rounded_p_values([p])[0],
            "verdict": SAME if not clear else BELOW if failed < expected else ABOVE,
        })
    return sorted(rows, key=lambda row: (-row["cases"], row["step"]))


