"""A burst in words: as a statement with its evidence, and what the rate did before and after it."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rqa.answers.core.finding import PEOPLE, Finding
from rqa.answers.core.own_work import in_words
from rqa.answers.steps.burst_counts import BurstRequest
from rqa.answers.steps.burst_rounds import BurstSearch, FoundBurst
from rqa.words import count, counted, counted_of, month_name, week_of

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MarginBurst

BESIDE = 13
"""Periods before and after a burst that it is compared with."""
SURE = 0.9
CHECKS = {
    "lot": "hold what is left of the lot; test it, and ask the supplier",
    "time": "ask what was new in these weeks: deliveries, staff, tools, software",
    "technician": "look at the work of these weeks together before anything is said about a person",
}
CHECK = "ask what was new there in these weeks; read five of the job sheets"
CAUTION = "picked as the strongest of many windows, so its true ratio is likely smaller than it looks"


def shape(burst: "MarginBurst", own: "pl.DataFrame", at: Sequence[int], work: str, latest: int) -> str:
    """What the group's rate was just before and after: whether the burst came and went."""
    events, cases = own["events"].to_list(), own[work].to_list()

    def side(first: int, last: int) -> tuple[int, float]:
        there = [i for i, t in enumerate(at) if first <= t <= last]
        return sum(events[i] for i in there), float(sum(cases[i] for i in there))

    inside = side(burst.first, burst.last)
    before, after = side(burst.first - BESIDE, burst.first - 1), side(burst.last + 1, burst.last + BESIDE)
    if before[1] == 0 and after[1] == 0:
        return "as long as it was there"
    began, ended = _above(inside, before), _above(inside, after)
    if burst.last >= latest:
        return "still on" if began or before[1] == 0 else "edges not clear"
    if began and ended:
        return "came and went"
    if after[1] == 0:
        return "until its end" if began else "edges not clear"
    if before[1] == 0:
        return "from its beginning" if ended else "edges not clear"
    return "higher from then on" if began else "higher until then" if ended else "edges not clear"


def _above(inside: tuple[int, float], beside: tuple[int, float]) -> bool:
    from rqa.stats import rate_ratio

    if beside[1] == 0:
        return False
    found = rate_ratio(events1=inside[0], exposure1=inside[1], events2=beside[0], exposure2=beside[1], level=SURE)
    return float(found.low) > 1.0


def finding(found: FoundBurst, row: Mapping[str, Any], asked: BurstRequest, all_of: BurstSearch) -> Finding:
    """The strongest window of a round as a statement: its p-value holds over all windows of all dimensions."""
    b = found.burst
    scan = all_of.scans[found.round]
    # Below what so many sets can show, the curve through their maxima is read.
    least = 1.0 / (scan.simulations + 1)
    p = min(b.p_value, b.p_fitted) if b.p_value <= least * 1.0001 and b.p_fitted == b.p_fitted else b.p_value
    noun = "come-backs" if asked.what == "comebacks" else "failed first checks"
    of = "jobs" if asked.what == "comebacks" else "checks"
    said, mark = in_words(asked.classes) if asked.what == "comebacks" else ("", "")
    within = f" within {counted(asked.window, 'day')} {said}" if said else ""
    more = p <= 0.05
    scope: dict[str, str] = {} if row["group"] is None else {b.dimension: row["group"]}
    if row["part_no"]:
        scope["part_no"] = row["part_no"]
    return Finding(
        kind=f"burst of {noun}{mark}",
        scope=scope,
        what=(
            f"{noun}{within} {'were bunched' if more else 'were fullest'} in {_when(row, asked.period)}: "
            f"{count(b.events)} of {counted_of(row['cases'], of)}, where {b.expected:.1f} were to be expected"
            + ("" if more else ", which chance explains")
            + (f"; most in lot {row['lot_inside']}" if row["lot_inside"] else "")
        ),
        measure="ratio of rates",
        size=b.ratio,
        low=row["low"],
        high=row["high"],
        worse=True,
        jobs=row["cases"],
        p_value=p,
        caution=CAUTION + (PEOPLE if b.dimension == "technician" else ""),
        check=CHECKS.get(b.dimension, CHECK),
        avoided=max(0.0, b.events - b.expected) if asked.what == "comebacks" else None,
        events=b.events,
        when=_when(row, asked.period),
    )


def _when(row: Mapping[str, Any], period: str) -> str:
    """The periods in words: weeks 36 to 41 of 2025."""
    first, last = row["first"], row["last"]
    if period == "month":
        ends = month_name(first), month_name(last)
        return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
    one, two = week_of(first), week_of(last)
    if one == two:
        return month_name(one)
    if one[:4] == two[:4]:
        return f"weeks {int(one[6:])} to {int(two[6:])} of {one[:4]}"
    return f"{month_name(one)} to {month_name(two)}"
