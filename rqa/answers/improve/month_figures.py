"""The month's main figures in one table: each against the months before, and whether chance explains the difference."""

from datetime import date

from rqa.answers.charts.level import level as level_of
from rqa.answers.charts.level import told
from rqa.answers.charts.month import month_against_before
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot
from rqa.answers.improve.overall_findings import FIGURES, MonthMeasure

SHOWN = (
    *FIGURES[:3], MonthMeasure("diagnostics passed first time", "first runs", "first_run_pass", 30, False), FIGURES[3]
)
COUNTS = ("count", "size", "before_count", "before_size")
NUMBERS = (
    "count", "size", "share", "low", "high", "before_count", "before_size", "before_share", "difference",
    "difference_low", "difference_high", "p_value",
)
NO_DATA = "no data"


class MonthFigures(Answer):
    """The month's figures: figure, month, count, size, share, low, high, before_count, before_size, before_share,
    difference, difference_low, difference_high, p_value, verdict."""

    question = "Figures of the month"
    shown = ("figure", "month", "count", "size", "share", "low", "high", "before_share", "p_value", "verdict")
    lists = "Its figures have questions of their own: ask comebacks() or first_pass_yield() with months=."


def month_figures(snapshot: Snapshot, month: str | date | None = None, *, level: float = 0.95) -> MonthFigures:
    """Set the main figures of a month beside those of the twelve months before.

    A row a figure: month (the one asked for; by default the latest for which the figure is final, so that come-backs
    lag behind), count of size, share with its Wilson interval low, high; before_count of before_size and before_share
    in up to twelve months before that are final; difference of the shares with Newcombe's interval; p_value (Fisher's
    exact) and verdict (better, worse, no clear change; cannot be told where even a rate that doubled or halved for half
    a year would not show, as on the page). p-value and interval of the difference allow for the checks of
    a job, which go together. A side without cases has counts of 0 and no share (null); then difference and p_value are
    null, too, and the verdict is "no data". A figure that no month has yet has no month. `settings["month"]` is the
    latest month among the rows; None where no figure has one. The mix of work and the season are not allowed for.

    >>> depot.charts.month_figures().table.select("figure", "share", "before_share", "verdict").row(0)
    ('come-backs within 30 days', 0.052632, 0.059268, 'no clear change')

    In May 5.3 % came back, in the year before 5.9 %: no change that could not be chance.
    """
    import polars as pl

    found = [
        month_against_before(snapshot, figure.measure, month=month, window=figure.window, level=level)
        for figure in SHOWN
    ]
    columns: list[pl.Series] = [
        pl.Series("figure", [figure.name for figure in SHOWN], dtype=pl.String),
        pl.Series("month", [one.month if one else None for one in found], dtype=pl.Date),
    ]
    for name in NUMBERS:
        values = [getattr(one, name) if one else None for one in found]
        if name in COUNTS:
            columns.append(pl.Series(name, [v or 0 for v in values], dtype=pl.Int64))
        else:
            numbers = [float("nan") if v is None else v for v in values]
            columns.append((rounded_p_values if name == "p_value" else rounded)(numbers).alias(name))
    verdicts = [
        told(one, level_of(snapshot, figure.measure, month=one.month, window=figure.window)) if one else NO_DATA
        for figure, one in zip(SHOWN, found, strict=True)
    ]
    columns.append(pl.Series("verdict", verdicts, dtype=pl.String))
    table = pl.DataFrame(columns)
    latest = max((one.month for one in found if one), default=None)
    return MonthFigures(table, {"month": latest, "as_of": snapshot.day, "level": level}, snapshot.notes)
