"""How long until a chart sees a change of a given size, at this depot's own volume of work."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from rqa.answers.charts.chart_rules import rules_named
from rqa.answers.charts.chart_series import MEASURES, is_mature, monthly, ripens
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Snapshot, Where, check_level, is_number, split_groups
from rqa.errors import RequestError
from rqa.words import counted, there_is

if TYPE_CHECKING:
    import polars as pl

QUESTION = "time_to_detect"
WEEKS_A_MONTH = 365.25 / 12 / 7
LATEST = 12
"""Months that say how much work there is and what share it has now."""


class TimeToDetect(Answer):
    """Weeks until a change is seen: size, before, after, chart, mean, median, within,
    mean_time_between_false_alarms."""

    question = "Time to detect"
    units: ClassVar[Mapping[str, str]] = {"before": SHARE, "after": SHARE}
    apart = ("size",)
    lists = "It is worked out from rates, not counted from jobs."


def time_to_detect(
    snapshot: Snapshot,
    measure: str = "comebacks",
    *,
    change: float = 1.5,
    by: By = (),
    window: int = 30,
    where: Where | None = None,
    chance: float = 0.9,
) -> TimeToDetect:
    """Say in how many weeks each kind of chart would see a share change, and how often it raises a false alarm.

    Parameters
    ----------
    measure
        A share: comebacks, first_pass_yield, first_run_pass, clean_jobs.
    change
        Factor on the share of what went wrong (come-backs; checks, tests and jobs that failed): 1.5 is half as much
        again, 0.5 a halving.
    by, where
        As for the measure: a small group has few jobs a week and is slow to see anything.
    chance
        The chance with which the signal is to come within the weeks told.

    Returns
    -------
    TimeToDetect
        Columns after the groups: size (cases a week over the latest 12 mature months), before and after (the share),
        chart, mean, median and within (weeks until the signal), mean_time_between_false_alarms (weeks). Charts: p chart
        by month and by week under the few rules, and a CUSUM job by job made as quiet as the monthly chart.

    Notes
    -----
    Landmarks: a group without mature months, or in which nothing or everything went wrong, has no weeks (null). The
    change is taken as sudden and lasting, from the day on which the chart starts afresh; cases as independent.

    Examples
    --------
    >>> r = depot.charts.time_to_detect(where="site=Alder", change=2.0).table
    >>> r.select("chart", "median", "mean_time_between_false_alarms").row(0)
    ('p chart by month', 17.4, 442.8)

    Were Alder's come-backs to double, the monthly chart would say so after 17 weeks as often as not.
    """
    if measure not in MEASURES:
        raise RequestError(f"{QUESTION}: {measure!r} is no share. {there_is(measure, MEASURES)}")
    if not is_number(change) or change <= 0 or change == 1:
        raise RequestError(f"{QUESTION}: change is a factor above 0 and not 1, such as 1.5 or 0.5: {change!r}.")
    check_level(QUESTION, chance, "chance")
    groups = split_groups(QUESTION, by)
    answer = monthly(snapshot, measure, by=(*groups, "month"), window=window, where=where)
    wait = ripens(measure, window)
    final = [is_mature(month, snapshot, wait) for month in answer.table["month"]]
    table = answer.table.filter(final) if answer.table.height else answer.table
    rows = []
    for group, part in _parts(table, groups):
        rows += [(*group, *row) for row in _rows(part, table, measure, change, chance)]
    settings = {
        "measure": measure, "change": change, "window": window if measure == "comebacks" else None,
        "as_of": snapshot.day, "by": groups, "where": answer.settings["where"], "chance": chance,
    }
    notes = [
        f"Size and share are those of the latest {LATEST} mature months. The weeks count from the change on, for cases "
        "whose outcome is known."
    ]
    if measure == "comebacks":
        notes.append(f"A come-back is known only after its follow-up: add {counted(window, 'day')} to each time.")
    return TimeToDetect(_table(rows, table, groups), settings, (*snapshot.notes, *notes))


Row = tuple[float, float, float | None, str, float | None, float | None, float | None, float | None]


def _rows(part: "pl.DataFrame", table: "pl.DataFrame", measure: str, change: float, chance: float) -> list[Row]:
    m = MEASURES[measure]
    months = table["month"].unique().sort().to_list()[-LATEST:]
    recent = part.filter(part["month"].is_in(months))
    cases, hits = int(recent[m.size].sum()), int(recent[m.count].sum())
    weekly = cases / (len(months) * WEEKS_A_MONTH) if months else 0.0
    wrong = (cases - hits if m.up_is_good else hits) / cases if cases else 0.0
    changed = wrong * change
    before, after = (1 - wrong, 1 - changed) if m.up_is_good else (wrong, changed)
    if not 0 < wrong < 1 or not 0 < changed < 1:
        known = before if cases else None
        return [(weekly, known, None, "none", None, None, None, None)]  # type: ignore[list-item]
    return [(weekly, before, after, *row) for row in _detected(wrong, changed, weekly, chance)]


def _detected(
    before: float, after: float, weekly: float, chance: float
) -> list[tuple[str, float | None, float | None, float | None, float | None]]:
    from rqa.spc import BernoulliDesign, Detection, ShewhartDesign, limit_for, periods_to_detect

    def told(name: str, found: Detection, weeks: float) -> tuple[str, float, float, float, float]:
        return name, weeks * found.mean, weeks * found.median, weeks * found.within, weeks * found.false_alarm_mean

    few, made = ShewhartDesign(rules=rules_named(QUESTION, "few")), []
    monthly_size = max(1, round(weekly * WEEKS_A_MONTH))
    month = periods_to_detect(few, before=before, after=after, size=monthly_size, chance=chance)
    made.append(told("p chart by month", month, WEEKS_A_MONTH))
    if weekly >= 1:
        week = periods_to_detect(few, before=before, after=after, size=round(weekly), chance=chance)
        made.append(told("p chart by week", week, 1.0))
    cases_between_false_alarms = month.false_alarm_mean * monthly_size
    design = limit_for(BernoulliDesign(p0=before, p1=after), run_length=max(cases_between_false_alarms, 2.0))
    job = periods_to_detect(design, before=before, after=after, size=1, chance=chance)
    made.append(told("CUSUM job by job", job, 1.0 / weekly))
    return made  # type: ignore[return-value]


def _parts(table: "pl.DataFrame", groups: tuple[str, ...]) -> list[tuple[tuple[object, ...], "pl.DataFrame"]]:
    if not groups:
        return [((), table)]
    parts = table.sort(groups, maintain_order=True).partition_by(list(groups), maintain_order=True)
    return [(tuple(part[name][0] for name in groups), part) for part in parts]


def _table(rows: list[tuple[object, ...]], table: "pl.DataFrame", groups: tuple[str, ...]) -> "pl.DataFrame":
    import polars as pl

    names = ("size", "before", "after", "chart", "mean", "median", "within", "mean_time_between_false_alarms")
    schema: dict[str, pl.DataType] = {name: table.schema[name] for name in groups}
    schema |= {name: pl.String() if name == "chart" else pl.Float64() for name in names}
    made = pl.DataFrame(rows, schema=schema, orient="row")
    weeks = pl.col("size", "mean", "median", "within", "mean_time_between_false_alarms").round(1)
    shares = [pl.Series(name, rounded(made[name])) for name in ("before", "after")]
    return made.with_columns(*shares).with_columns(weeks)
