"""Whether the goals of a month were met, and whether its numbers are large enough to tell."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, ClassVar

from rqa.answers.charts.control_chart import MEASURES, is_mature, monthly, ripens
from rqa.answers.charts.month import last_whole_month
from rqa.answers.core.ground_list import GROUNDS, WAIT
from rqa.answers.core.grounds import Sentence, grounds
from rqa.answers.core.job_clusters import inflation_by_month
from rqa.answers.core.needs import OF_MEASURE
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, check_level, month_end, month_of
from rqa.contract import GOAL_OF_COMEBACKS, GOALS
from rqa.measures.run import counts
from rqa.words import count, counted, interval, month_name, percent

if TYPE_CHECKING:
    import polars as pl

QUESTION = "targets"
YES, NO, CANNOT, NOT_YET = MET = ("yes", "no", "cannot be told", "cannot be told yet")
NAMES = {"first_pass_yield": "first-pass yield", "first_run_pass": "diagnostics passed first time",
         "clean_jobs": "clean-job share"}
EXISTS = ", ".join(("comebacks_30", "comebacks_90 (or any number of days)", *GOALS))
COLUMNS = ("measure", "name", "month", "goal", "at_least", "value", "low", "high", "count", "size", "met", "sentence")


class Targets(Answer):
    """Goals of a month: measure, name, month, goal, at_least, value, low, high, count, size, met, sentence.

    `at_least` says that the goal is a least value, not a most; `met` is one of yes, no, cannot be told (whatever is
    waited for), cannot be told yet (the month is not final).
    """

    question = "Goals"
    in_table_only = ("measure", "at_least", "sentence")
    units: ClassVar[Mapping[str, str]] = {"goal": SHARE, "value": SHARE}
    needs = ("targets",)
    lists = "Its measures have questions of their own: ask comebacks() or first_pass_yield() with months=."


@dataclass(frozen=True)
class Goal:
    """One goal in force: the measure as the table names it, how it is said, what it is asked as, and its value."""

    named: str
    name: str
    measure: str
    window: int
    value: float

    @property
    def at_least(self) -> bool:
        """Whether more is better."""
        return MEASURES[self.measure].up_is_good


def targets(snapshot: Snapshot, month: str | date | None = None, *, level: float = 0.95) -> Targets:
    """Say of each goal in force in a month whether the month met it; by default of each measure's latest final month.

    Goals come from the table `targets`: a measure (comebacks_30 or any number of days, first_pass_yield,
    first_run_pass, clean_jobs), the first month it holds for, and a share. Come-backs are to stay at or below it, the
    others at or above.

    Columns: measure, name (as said), month, goal, at_least (whether the goal is a least value), value with its Wilson
    interval low, high, from count of size; met and a sentence. met is "yes" or "no" only where the whole interval of a
    final month lies on one side of the goal, else "cannot be told"; "cannot be told yet" while the month is not final.
    Without cases, or where nothing can be told, there is no data: value is null. Goals nothing can be made of stand in
    the notes.

    >>> depot.actions.targets().table.select("name", "goal", "value", "met").row(0)
    ('clean-job share', 0.55, 0.450292, 'no')

    The goal is 55 %, June had 45 %: not met.
    """
    import polars as pl

    check_level(QUESTION, level)
    asked = None if month is None else month_of(QUESTION, month)
    table = counts(snapshot.store, "targets")
    notes, rows = list(snapshot.notes), []
    for named in table["measure"].unique().sort().to_list():
        goals = table.filter(pl.col("measure") == named)
        known = _measure(named)
        if known is None:
            notes.append(f"The goal {named!r} names no measure. There is: {EXISTS}.")
            continue
        own = asked if asked is not None else last_whole_month(snapshot, *known)
        held = goals.filter(pl.col("from_month") <= own) if own else goals.clear()
        if own is None or held.is_empty():
            continue
        value = float(held["value"][-1])
        if not 0 <= value <= 1:
            notes.append(f"The goal {named!r} is {value:g}, which is no share; write 5 % as 0.05.")
            continue
        rows.append(_judged(snapshot, Goal(named, _name(*known), *known, value), own, level))
    settings = {"month": asked, "as_of": snapshot.day, "level": level, "method": "wilson"}
    return Targets(_frame(rows), settings, tuple(notes))


def _measure(named: str) -> tuple[str, int] | None:
    found = re.fullmatch(GOAL_OF_COMEBACKS, named)
    if found:
        return "comebacks", int(found[1])
    return (named, 0) if named in NAMES else None


def _name(measure: str, window: int) -> str:
    return f"come-backs within {counted(window, 'day')}" if measure == "comebacks" else NAMES[measure]


def _judged(snapshot: Snapshot, goal: Goal, month: date, level: float) -> dict[str, object]:
    from rqa.stats import proportion_interval

    m = MEASURES[goal.measure]
    found = monthly(snapshot, goal.measure, window=goal.window, where=None, months=(month, month)).table
    events, size = int(found[m.count].sum()), int(found[m.size].sum())
    by_job = inflation_by_month(snapshot, goal.measure, (month, month), None)
    share = proportion_interval(successes=events, trials=size, level=level, design_effect=by_job)
    value, low, high = float(share.estimate), float(share.low), float(share.high)
    final = is_mature(month, snapshot, ripens(goal.measure, goal.window)) or _without_jobs(month, snapshot, found)
    lacks = grounds(snapshot, window=goal.window).lack(
        *OF_MEASURE[goal.measure], about=f"whether the goal of {goal.name} is met"
    )
    if final and lacks and _waits(lacks):
        # Time will tell of other months: this one is over, and nothing of it is still to come.
        lacks = None
    if lacks:
        value = low = high = float("nan")
    row: dict[str, object] = {
        "measure": goal.named, "name": goal.name, "month": month, "goal": goal.value, "at_least": goal.at_least,
        "value": value, "low": low, "high": high, "count": events, "size": size,
        "met": _met(goal, size, low, high, final=final, lacks=lacks),
    }
    return {**row, "sentence": lacks or _sentence(goal, row, final, level)}


def _without_jobs(month: date, snapshot: Snapshot, found: "pl.DataFrame") -> bool:
    """Whether a month is over in which no job was closed that could come back."""
    return "jobs" in found.columns and month_end(month) <= snapshot.day and not int(found["jobs"].sum())


def _waits(lacks: Sentence) -> bool:
    """Whether what is absent comes with time alone."""
    return all(GROUNDS[name].remedy == WAIT for name in lacks.lacks)


def _met(goal: Goal, size: int, low: float, high: float, *, final: bool, lacks: Sentence | None) -> str:
    if lacks:
        return NOT_YET if not final and _waits(lacks) else CANNOT
    if not final:
        return NOT_YET
    if not size:
        return CANNOT
    if goal.at_least:
        return YES if low >= goal.value else NO if high < goal.value else CANNOT
    return YES if high <= goal.value else NO if low > goal.value else CANNOT


def _sentence(goal: Goal, row: dict[str, object], final: bool, level: float) -> str:
    side = "at least" if goal.at_least else "at most"
    said = f"{goal.name[0].upper()}{goal.name[1:]}, goal {side} {percent(goal.value)}: "
    own = month_name(row["month"])
    if not row["size"]:
        return f"{said}{own} has no cases{'' if final else ' yet'}."
    value, low, high = (v if isinstance(v := row[c], float) else None for c in ("value", "low", "high"))
    said += f"{percent(value)} in {own} ({count(row['count'])} of {count(row['size'])}, {level * 100:g} % interval "
    said += f"{interval(low, high)}); "
    if not final:
        return f"{said}cannot be told yet, as the month is not final."
    if row["met"] == CANNOT:
        return f"{said}cannot be told, as the interval holds the goal."
    return f"{said}{'met' if row['met'] == YES else 'not met'}."


def _frame(rows: list[dict[str, object]]) -> "pl.DataFrame":
    import polars as pl

    kinds = {"month": pl.Date, "goal": pl.Float64, "at_least": pl.Boolean, "value": pl.Float64, "low": pl.Float64,
             "high": pl.Float64, "count": pl.Int64, "size": pl.Int64}
    table = pl.DataFrame(rows, schema={c: kinds.get(c, pl.String) for c in COLUMNS}, orient="row")
    return table.with_columns(rounded(table[c]).alias(c) for c in ("value", "low", "high")).sort("measure")
