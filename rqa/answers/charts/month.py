"""Was the month better, worse or the same as the months before, and is that statistically clear."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.charts.chart_series import MEASURES, is_mature, monthly, ripens
from rqa.answers.core.job_clusters import inflation_by_month
from rqa.answers.core.scope import Snapshot, Where, check_level, check_month_held, month_of, months_back, whole_number
from rqa.errors import RequestError
from rqa.words import there_is

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

QUESTION = "month_against_before"
BEFORE = 12
"""Months before that make the comparison: a year, so that the seasons are in it."""
UNCLEAR = "no clear change"
"""The verdict on a difference that chance could make: small numbers hide changes, too."""
FEWEST = 6
"""Months before from which on it can be told how much months vary."""
LUCK = 0.05
"""A difference is called statistically clear when chance alone would make one as large less often than this."""


@dataclass(frozen=True)
class MonthAgainstBefore:
    """One month against the months before it, pooled.

    `share` and `before_share` are None without data. `difference` = share - before_share, with Newcombe's interval.
    `p_value` is Fisher's exact two-sided. Where a job has several cases (first checks, first runs), `by_job` says how
    many times as much they vary for going together; the limits of the share, and p-value and interval of the
    difference, allow for it. `by_month` says how many times as much the months before vary as single cases would; where
    that is more, p-value and interval of the difference allow for it instead, by Student's law.
    `more_than_luck` says that it is below 5 %. `direction` is what the plain
    figures say (better, worse, same); `verdict` calls a difference within chance "no clear change", and is "no data"
    when either side has none.
    """

    measure: str
    month: date
    mature: bool
    count: int
    size: int
    share: float | None
    low: float | None
    high: float | None
    first_before: date | None
    last_before: date | None
    months_before: int
    before_count: int
    before_size: int
    before_share: float | None
    difference: float | None
    difference_low: float | None
    difference_high: float | None
    p_value: float | None
    direction: str
    more_than_luck: bool
    verdict: str
    level: float
    by_job: float = 1.0
    by_month: float = 1.0


def last_whole_month(snapshot: Snapshot, measure: str, window: int, upto: date | None = None) -> date | None:
    """The latest month with data whose figure is final, up to the one given; None if there is none yet."""
    table = monthly(snapshot, measure, window=window, where=None).table
    wait = ripens(measure, window)
    size = MEASURES[measure].size
    months = [
        row["month"] for row in table.iter_rows(named=True) if row[size] and is_mature(row["month"], snapshot, wait)
    ]
    return max((month for month in months if upto is None or month <= upto), default=None)


def month_against_before(
    snapshot: Snapshot,
    measure: str = "comebacks",
    *,
    month: str | date | None = None,
    before: int = BEFORE,
    window: int = 30,
    where: Where | None = None,
    level: float = 0.95,
) -> MonthAgainstBefore | None:
    """Compare one month with up to `before` mature months before it; None if no month is mature yet.

    By default the latest mature month. The mix of work is not allowed for: a month of harder work looks worse.

    >>> r = depot.charts.month_against_before()
    >>> r.count, r.size, r.verdict
    (6, 114, 'no clear change')

    6 of 114 jobs of the latest mature month came back; the difference from the year before is consistent with chance.
    """
    if measure not in MEASURES:
        raise RequestError(f"{QUESTION}: there is no measure {measure!r}. {there_is(measure, MEASURES)}")
    whole_number(QUESTION, "before", before, 1, of="months")
    check_level(QUESTION, level)
    this = month_of(QUESTION, month) if month is not None else last_whole_month(snapshot, measure, window)
    if this is None:
        return None
    if month is not None:
        check_month_held(QUESTION, snapshot, this)
    import polars as pl

    m, wait = MEASURES[measure], ripens(measure, window)
    table = monthly(snapshot, measure, window=window, where=where).table
    own = table.filter(pl.col("month") == this)
    first = months_back(this, before)
    earlier = table.filter((pl.col("month") >= first) & (pl.col("month") < this) & (pl.col(m.size) > 0))
    earlier = earlier.filter(pl.Series([is_mature(x, snapshot, wait) for x in earlier["month"]], dtype=pl.Boolean))
    by_job = inflation_by_month(snapshot, measure, (first, this), where)
    return _compare(measure, this, is_mature(this, snapshot, wait), own, earlier, level, by_job)


def _compare(
    measure: str, month: date, mature: bool, own: "pl.DataFrame", earlier: "pl.DataFrame", level: float, by_job: float
) -> MonthAgainstBefore:
    from rqa.stats import difference_interval, proportion_interval, proportion_test

    m = MEASURES[measure]
    count, size = int(own[m.count].sum()), int(own[m.size].sum())
    count_0, size_0 = int(earlier[m.count].sum()), int(earlier[m.size].sum())
    share = proportion_interval(successes=count, trials=size, level=level, design_effect=max(1.0, by_job))
    apart = difference_interval(successes1=count, trials1=size, successes2=count_0, trials2=size_0, level=level)
    test = proportion_test(successes1=count, trials1=size, successes2=count_0, trials2=size_0)
    difference, low, high = (_number(value) for value in (apart.estimate, apart.low, apart.high))
    p_value = _number(test.p_value)
    by_month = _spread_of_months(earlier[m.count].to_numpy(), earlier[m.size].to_numpy())
    scale, free = (by_month, earlier.height - 1) if by_month > by_job else (by_job, None)
    if scale > 1.0 and difference is not None and low is not None and high is not None and p_value is not None:
        p_value = max(p_value, _chance(count, size, count_0, size_0, scale, free))
        reach = scale**0.5 * _wider(level, free)
        low, high = (max(-1.0, min(1.0, difference + (end - difference) * reach)) for end in (low, high))
    if difference is None or p_value is None:
        direction, luck = "no data", False
    else:
        direction = "same" if difference == 0 else "better" if (difference > 0) == m.up_is_good else "worse"
        luck = p_value < LUCK
    span = earlier["month"].sort().to_list()
    return MonthAgainstBefore(
        measure=measure, month=month, mature=mature, count=count, size=size,
        share=_number(share.estimate), low=_number(share.low), high=_number(share.high),
        first_before=span[0] if span else None, last_before=span[-1] if span else None, months_before=len(span),
        before_count=count_0, before_size=size_0, before_share=count_0 / size_0 if size_0 else None,
        difference=difference, difference_low=low, difference_high=high,
        p_value=p_value, direction=direction, more_than_luck=luck,
        verdict=direction if luck or direction == "no data" else UNCLEAR, level=level,
        by_job=round(by_job, 3), by_month=round(by_month, 3),
    )


def _spread_of_months(count: "NDArray[np.int64]", size: "NDArray[np.int64]") -> float:
    """How many times as much the months vary as single cases of one share would (Pearson's statistic); 1 at least."""
    events, cases = int(count.sum()), int(size.sum())
    if len(count) < FEWEST or not 0 < events < cases:
        return 1.0
    share = events / cases
    squares = float(((count - size * share) ** 2 / (size * share * (1.0 - share))).sum())
    return max(1.0, squares / (len(count) - 1))


def _wider(level: float, free: int | None) -> float:
    """Student's quantile over the normal one, where the scale is as well known as so many months tell."""
    from scipy import special

    tail = (1.0 - level) / 2.0
    return 1.0 if free is None else float(special.stdtrit(free, tail) / special.ndtri(tail))


def _chance(count: int, size: int, count_0: int, size_0: int, scale: float, free: int | None) -> float:
    """How often chance alone sets two shares as far apart, where cases vary so many times as much as single ones."""
    from scipy import special

    pooled = (count + count_0) / (size + size_0)
    variance = pooled * (1.0 - pooled) * (1.0 / size + 1.0 / size_0) * scale
    if not variance > 0:
        return 1.0
    z = -abs(count / size - count_0 / size_0) / variance**0.5
    return float(2.0 * (special.ndtr(z) if free is None else special.stdtr(free, z)))


def _number(value: object) -> float | None:
    number = float(value)  # type: ignore[arg-type]
    return None if number != number else number
