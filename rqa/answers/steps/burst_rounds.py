"""The search of bursts round after round: the strongest is set aside with its cases, and the rest is searched again."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.core.scope import Snapshot
from rqa.answers.steps.burst_counts import BurstRequest, ExcludedPeriods, cells, margins, number

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MarginBurst, MarginScan

LUCK = 0.05
ROUNDS = 6
"""Bursts set aside before the search ends; each costs another count."""
LISTED = 60
ECHOES = 12
"""Echoes listed of each burst, the strongest."""
BURST, ECHO, CHANCE = "burst", "echo", "within chance variation"


@dataclass(frozen=True, eq=False)
class FoundBurst:
    """One burst: the round and table it was found in, what it is, whose echo, and the share of its events shared."""

    burst: "MarginBurst"
    round: int
    verdict: str
    echo_of: int | None = None
    shared: float | None = None


@dataclass(frozen=True, eq=False)
class BurstSearch:
    """All rounds: the tables counted, the scans, and what was found, own bursts first."""

    tables: "tuple[pl.DataFrame, ...]"
    scans: "tuple[MarginScan, ...]"
    first: int
    last: int
    found: tuple[FoundBurst, ...]


def search(
    snapshot: Snapshot, asked: BurstRequest, *, longest: int, fewest: int, simulations: int, seed: int
) -> BurstSearch:
    """Scan, set the strongest burst's cases aside, count and scan again, until the rest is consistent with chance."""
    from rqa.stats import scan_margins

    aside: list[ExcludedPeriods] = []
    tables: list[pl.DataFrame] = []
    scans: list[MarginScan] = []
    first = last = 0
    while True:
        table = cells(snapshot, asked, aside)
        if not scans:
            days = table["period"].unique().sort().to_list()
            first, last = (number(d, asked.period) for d in (days[0], days[-1])) if days else (0, -1)
        scan = scan_margins(
            margins(table, asked, first), likelihood="poisson" if asked.mix else "bernoulli", longest=longest,
            fewest=fewest, limit=LISTED, simulations=simulations, seed=seed,
        )
        tables.append(table)
        scans.append(scan)
        if not scan.bursts or not scan.p_value <= LUCK or len(scans) > ROUNDS:
            break
        aside.append(_aside(chosen(scan), table, asked.period, first))
    return BurstSearch(tuple(tables), tuple(scans), first, last, tuple(_told(scans, tables, asked.period, first)))


def chosen(scan: "MarginScan") -> "MarginBurst":
    """The strongest window; of all work together only where no group's own burst lies in its periods."""
    top = scan.bursts[0]
    if top.dimension == "time" and scan.p_value <= LUCK:
        for b in scan.bursts[1:]:
            if b.p_value <= LUCK and b.dimension != "time" and b.first <= top.last and top.first <= b.last:
                return b
    return top


def _aside(burst: "MarginBurst", table: "pl.DataFrame", period: str, first: int) -> ExcludedPeriods:
    days = table["period"].unique().sort().to_list()
    inside = (d for d in days if burst.first <= number(d, period) - first <= burst.last)
    return ExcludedPeriods(burst.dimension, group_of(burst), tuple(inside))


def group_of(burst: "MarginBurst") -> tuple[str, str]:
    """Part number and name; both "" for time alone."""
    return burst.group if isinstance(burst.group, tuple) else ("", "")


def _told(scans: "list[MarginScan]", tables: "list[pl.DataFrame]", period: str, first: int) -> list[FoundBurst]:
    own, echoes = [], []
    for i, scan in enumerate(scans[:-1]):
        winner = chosen(scan)
        own.append(FoundBurst(winner, i, BURST))
        heard = 0
        for b in scan.bursts:
            if heard == ECHOES:
                break
            if b is winner or b.p_value > LUCK or any(_same(b, s) for s in scans[i + 1].bursts if s.p_value <= LUCK):
                continue
            left = _events(tables[i + 1], b, period, first)
            echoes.append(FoundBurst(b, i, ECHO, i, 1.0 - left / b.events))
            heard += 1
    luck = [
        FoundBurst(b, len(scans) - 1, CHANCE if b.p_value > LUCK else BURST) for b in scans[-1].leading if b is not None
    ]
    luck.sort(key=lambda f: -f.burst.score)
    return [*own, *echoes, *luck]


def _same(one: "MarginBurst", other: "MarginBurst") -> bool:
    alike = (one.dimension, one.group) == (other.dimension, other.group)
    return alike and one.first <= other.last and other.first <= one.last


def _events(table: "pl.DataFrame", burst: "MarginBurst", period: str, first: int) -> int:
    """Events of a burst's group and periods in another table."""
    part, name = group_of(burst)
    own = table.filter((table["dimension"] == burst.dimension) & (table["part_no"] == part) & (table["name"] == name))
    return sum(
        events
        for day, events in own.select("period", "events").iter_rows()
        if burst.first <= number(day, period) - first <= burst.last
    )
