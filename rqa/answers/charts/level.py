"""Is a measure better or worse than it was, and since which month."""

from dataclasses import dataclass
from datetime import date

from rqa.answers.charts.chart_series import MEASURES, is_mature, monthly, ripens
from rqa.answers.charts.month import UNCLEAR, MonthAgainstBefore, last_whole_month
from rqa.answers.core.job_clusters import inflation_by_month
from rqa.answers.core.scope import Snapshot, Where, check_level, check_month_held, month_of, months_back
from rqa.errors import RequestError
from rqa.words import there_is

QUESTION = "level"
SEEN = 27
"""Final months that are looked at: a year in which the change may lie, and more than a year before it."""
UNTOLD = "cannot be told"
"""The verdict where even a rate that doubled or halved for half a year would not show."""


@dataclass(frozen=True)
class Level:
    """The level of a measure up to a month, and since when it is that, if it changed in the last year.

    `months` final months were looked at, from `first` to `month`, with `size` cases. `since` is the first month at the
    level of now, None without a change in the last year. `share` is that of the months from `level_from` on: since
    then, or since an earlier change, or of all months; `before` that of the months from `before_from` on, up to the
    change; `difference` = share - before with limits. `evidence` is twice the log likelihood ratio of the change over
    the `dispersion` of the months; from 10 on it is
    told. `verdict`: better, worse, no clear change, or cannot be told.
    """

    measure: str
    month: date
    first: date
    months: int
    size: int
    since: date | None
    before_from: date | None
    level_from: date
    share: float | None
    before: float | None
    difference: float | None
    low: float | None
    high: float | None
    evidence: float | None
    dispersion: float
    verdict: str
    level: float


def level(
    snapshot: Snapshot,
    measure: str = "comebacks",
    *,
    month: str | date | None = None,
    window: int = 30,
    where: Where | None = None,
    level: float = 0.95,
) -> Level | None:
    """Say whether a measure is at another level than before, and since when; None if no month is final yet.

    `month` is the last month looked at, by default the latest that is final; the 27 final months up to it are seen, and
    the new level must have begun in the last twelve of them. Months that vary more than their counts alone would need
    more evidence, and so do checks of one job, which go together. Neither the mix of work nor the season is allowed
    for. How often it is wrong: `rqa.stats.level_change`.

    >>> r = depot.charts.level(window=90)
    >>> r.verdict, f"{r.since:%B %Y}", f"{r.before:.1%} to {r.share:.1%}"
    ('better', 'January 2026', '11.2% to 4.7%')

    Of the jobs closed since January 2026 fewer than half as many came back within 90 days as before.
    """
    if measure not in MEASURES:
        raise RequestError(f"{QUESTION}: there is no measure {measure!r}. {there_is(measure, MEASURES)}")
    check_level(QUESTION, level)
    last = month_of(QUESTION, month) if month is not None else last_whole_month(snapshot, measure, window)
    if last is None:
        return None
    if month is not None:
        check_month_held(QUESTION, snapshot, last)
    import polars as pl

    from rqa.stats import level_change

    m, wait, first = MEASURES[measure], ripens(measure, window), months_back(last, SEEN - 1)
    table = monthly(snapshot, measure, window=window, where=where).table
    seen = table.filter((pl.col("month") >= first) & (pl.col("month") <= last) & (pl.col(m.size) > 0)).sort("month")
    seen = seen.filter(pl.Series([is_mature(x, snapshot, wait) for x in seen["month"]], dtype=pl.Boolean))
    months = seen["month"].to_list()
    if not months:
        return None
    by_job = inflation_by_month(snapshot, measure, (months[0], last), where)
    found = level_change(
        count=seen[m.count].to_list(), size=seen[m.size].to_list(), dispersion=max(1.0, by_job), level=level
    )
    changed = found.since is not None
    verdict = (
        ("better" if (found.difference > 0) == m.up_is_good else "worse") if changed
        else UNCLEAR if found.would_show else UNTOLD
    )
    before, difference, low, high, evidence = (
        None if x != x else float(x) for x in (found.before, found.difference, found.low, found.high, found.evidence)
    )
    return Level(
        measure=measure, month=last, first=months[0], months=len(months), size=int(seen[m.size].sum()),
        since=None if found.since is None else months[found.since],
        before_from=months[found.first_before] if changed else None,
        level_from=months[found.first_before if found.since is None else found.since],
        share=found.after, before=before, difference=difference, low=low, high=high, evidence=evidence,
        dispersion=found.dispersion, verdict=verdict, level=level,
    )


def told(found: MonthAgainstBefore, level: Level | None) -> str:
    """The verdict on a month: its own, but that "no clear change" is said only where a change would have shown."""
    return UNTOLD if found.verdict == UNCLEAR and level is not None and level.verdict == UNTOLD else found.verdict
