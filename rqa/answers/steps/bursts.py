"""Bursts: were come-backs or failed checks bunched in some weeks, at some bench, lot or person, beyond chance."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CHECKS, CaseList, Count
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.grounds import grounds
from rqa.answers.core.job_lists import one_row
from rqa.answers.core.own_work import in_words
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import (
    By,
    Months,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_values,
    named_groups,
    scope,
    whole_number,
)
from rqa.answers.core.told_sites import told_scope
from rqa.answers.steps.burst_counts import DIMENSIONS, LASTING, MIX, BurstRequest, number
from rqa.answers.steps.burst_lot import lot_inside
from rqa.answers.steps.burst_rounds import BURST, CHANCE, ECHO, LUCK, BurstSearch, FoundBurst, group_of, search
from rqa.answers.steps.burst_words import BESIDE, finding, shape
from rqa.contract import CLASSES, OWN_WORK
from rqa.measures.groupings import JOB_NAMES, names_only
from rqa.measures.run import Kept
from rqa.words import counted, plural

if TYPE_CHECKING:
    import polars as pl

QUESTION = "bursts"
NOUNS = {"comebacks": "come-backs", "failed_checks": "failed checks"}
GROUNDS = {"comebacks": ("closed_jobs", "repeat_units", "matured_jobs"), "failed_checks": ("checks",)}
"""What each search rests on."""
LONGEST = {"week": 13, "month": 3}


@dataclass(frozen=True, eq=False, repr=False)
class Bursts(Answer):
    """Where and when events were bunched: burst, dimension, part_no, group, first, last, periods, events, cases,
    expected, ratio, low, high, lot_inside, shape, p_value, p_within, verdict, echo_of, shared.

    `series` holds the counts of each listed group by period: dimension, part_no, group, period, cases, events,
    expected.
    """

    series: "pl.DataFrame | None" = None

    question = "Bursts"
    in_table_only = (
        "part_no", "periods", "events", "ratio", "low", "high", "lot_inside", "p_within", "echo_of", "shared",
    )

    def listed(self) -> CaseList:
        """The jobs, or checks, of one burst at a time."""
        if self.settings["what"] == "comebacks":
            told = {"cases": Count(("matured",)), "events": Count(("returned",), classed=True)}
            return CaseList("listed_index_jobs", told, keys={"burst": "burst"}, returned="events")
        told = {"cases": Count(), "events": Count(("failed",))}
        return CaseList("listed_burst_checks", told, rows=CHECKS, keys={"burst": "burst"})

    def listed_for(self, row: Mapping[str, object]) -> tuple[CaseList, Mapping[str, object]]:
        """Those of the group and days of a burst; a stronger one found before may have taken some of them."""
        burst, made = one_row(self, row, "burst"), self.listed()
        day = "closed_day" if self.settings["what"] == "comebacks" else "day"
        span: Kept = ((day, ">=", burst["first"]), (day, "<=", burst["last"]))
        given: Any = self.settings["where"]
        own = {} if burst["group"] is None else {burst["dimension"]: (burst["group"],)}
        part = {"part_no": (burst["part_no"],)} if burst["part_no"] is not None else {}
        told = {name: replace(count, kept=(*count.kept, *span)) for name, count in made.counts.items()}
        rest = {name: value for name, value in row.items() if name != "burst"}
        return replace(made, counts=told, where={**given, **own, **part}), rest


@asked_once
def bursts(
    snapshot: Snapshot,
    what: str = "comebacks",
    *,
    dimensions: By = (),
    period: str = "week",
    window: int = 30,
    classes: By = OWN_WORK,
    mix: By = MIX,
    where: Where | None = None,
    months: Months | None = None,
    longest: int | None = None,
    fewest: int = 3,
    simulations: int = 999,
    seed: int = 0,
    level: float = 0.95,
) -> Bursts:
    """Say where and when come-backs or failed checks were bunched, over all windows, groups and dimensions in one go.

    `what`: "comebacks" (matured jobs by closing, those back within `window` days with a come-back of one of `classes`;
    all classes: ()) or "failed_checks" (first attempts that were checked, by day, up to the first of each job that
    failed: failures of one job often come together, and would look like a burst). `dimensions`: time, site, model,
    bench, technician, tool, lot, and step for failed checks; left out: all. With time, a group that is all of the work,
    such as the only site, is not searched again. `period` "week" or "month"; `longest`
    periods make a burst (13 weeks, 3 months). `mix`: the parts of the kind of work, of model, procedure, billing, that
    are allowed for; () for none (jobs that came back or not, whatever their kind). `where` takes site, model,
    procedure, technician, billing. `fewest` events make a burst.

    Lots are set against all work of their kind; time, and groups that are there all the time, against their own level
    just before and just after: a bench that is always worse, or worse until something was changed, is no burst.
    P-values are Monte-Carlo ones over all windows, groups and dimensions. When the strongest burst is statistically
    clear, its cases are set aside and the rest is counted and searched again; what is then gone was its echo.

    Columns: burst (its number), dimension, part_no (of a lot), group (null: all work), first, last (days), periods,
    events, cases, expected, ratio (of the rate inside to that of what it is set against) with its exact interval low,
    high, lot_inside (of a burst of all work: the lot that holds more of it than its part, beyond chance), shape (what
    the rate was before and after), p_value (over all dimensions), p_within (its own), verdict ("burst", "echo", "within
    chance variation"), echo_of (the burst's number), shared (the part of its events that lie in that burst). Own bursts
    first, then their echoes, then the strongest that is left of each dimension. `.series` holds the counts of each
    listed group by period.

    >>> r = depot.steps.bursts(simulations=19).table.row(0, named=True)
    >>> r["part_no"], r["group"], r["events"], r["cases"], r["expected"]
    ('AC-31', 'K-2541', 13, 34, 2.204603)

    Jobs with the lot K-2541 of part AC-31 came back six times as often as comparable work in five weeks of autumn.
    """
    asked = _checked(snapshot, what, dimensions, period, window, classes, mix, where, months)
    check_level(QUESTION, level)
    longest = LONGEST[period] if longest is None else longest
    given = {"longest": (longest, 1), "fewest": (fewest, 1), "simulations": (simulations, 1), "seed": (seed, 0)}
    for name, (value, smallest_value) in given.items():
        whole_number(QUESTION, name, value, smallest_value)
    found = search(snapshot, asked, longest=longest, fewest=fewest, simulations=simulations, seed=seed)
    rows = [_row(i, f, found, asked, level) for i, f in enumerate(found.found, start=1)]
    settings = {
        "what": what, "dimensions": asked.dimensions, "period": period, "as_of": snapshot.day,
        "window": window if what == "comebacks" else None, "classes": asked.classes if what == "comebacks" else None,
        "mix": asked.mix, "where": dict(asked.scope.where), "months": asked.scope.months, "longest": longest,
        "fewest": fewest, "simulations": simulations, "seed": seed, "level": level,
        "method": f"scan statistic, {found.scans[0].likelihood}",
    }
    stated = [finding(f, row, asked, found) for f, row in zip(found.found, rows, strict=True) if _is_stated(f, found)]
    return Bursts(
        _table(rows), settings, _notes(snapshot, found, asked), tuple(stated), series=_series(found, rows, asked)
    )


def _checked(
    snapshot: Snapshot, what: str, dimensions: By, period: str, window: int, classes: By, mix: By, where: Where | None,
    months: Months | None,
) -> BurstRequest:
    check_one_of(QUESTION, "what", what, DIMENSIONS)
    check_one_of(QUESTION, "period", period, LONGEST)
    window = days_asked(QUESTION, "window", window)
    named = named_groups(QUESTION, dimensions) or DIMENSIONS[what]
    names_only(QUESTION, "dimension", named, DIMENSIONS[what])
    kept = named_groups(QUESTION, classes) or CLASSES
    names_only(QUESTION, "class", kept, CLASSES)
    parts = named_groups(QUESTION, mix)
    names_only(QUESTION, "part of the mix", parts, MIX)
    narrowed = scope(QUESTION, by=(), where=where, months=months, allowed=JOB_NAMES)
    check_values(snapshot.store, QUESTION, narrowed.where)
    if what == "comebacks":
        narrowed = told_scope(snapshot, narrowed, kept)
    ordered = tuple(d for d in DIMENSIONS[what] if d in named)
    return BurstRequest(what, ordered, period, window, tuple(kept), tuple(m for m in MIX if m in parts), narrowed)


def _is_stated(found: FoundBurst, all_of: BurstSearch) -> bool:
    """One statement a round: the burst set aside, or the strongest window of what was left."""
    return found.verdict == BURST or (found.verdict == CHANCE and found.burst == all_of.scans[-1].bursts[0])


def _row(number_: int, found: FoundBurst, all_of: BurstSearch, asked: BurstRequest, level: float) -> dict[str, Any]:
    from rqa.stats import rate_ratio

    b = found.burst
    part, name = group_of(b)
    table = all_of.tables[found.round]
    own = table.filter((table["dimension"] == b.dimension) & (table["part_no"] == part) & (table["name"] == name))
    at = [number(d, asked.period) - all_of.first for d in own["period"].to_list()]
    inside = own.filter([b.first <= t <= b.last for t in at])
    lot = lot_inside(b, table, asked, all_of.first) if found.verdict == BURST else None
    around = rate_ratio(
        events1=b.events, exposure1=b.expected, events2=b.all_events - b.events,
        exposure2=max(b.all_events - b.expected, 0.0), level=level,
    )
    return {
        "burst": number_, "dimension": b.dimension, "part_no": part or None, "group": name or None,
        "first": inside["period"].min(), "last": _end(inside["period"].max(), asked.period),
        "periods": b.last - b.first + 1, "events": b.events, "cases": int(inside["cases"].sum()),
        "expected": b.expected, "ratio": b.ratio, "low": float(around.low), "high": float(around.high),
        "lot_inside": None if lot is None else f"{lot.lot} of {lot.part_no}: {lot.events}, {lot.expected:.1f} expected",
        "shape": shape(b, own, at, "expected" if asked.mix else "cases", all_of.last - all_of.first),
        "p_value": b.p_value, "p_within": b.p_within, "verdict": found.verdict,
        "echo_of": None if found.echo_of is None else found.echo_of + 1, "shared": found.shared,
    }


def _end(first_day: Any, period: str) -> date:
    """The last day of a period."""
    start: date = first_day
    if period == "week":
        return start + timedelta(days=6)
    return (start.replace(day=1) + timedelta(days=32)).replace(day=1) - timedelta(days=1)


COLUMNS = {
    "burst": "Int64", "dimension": "String", "part_no": "String", "group": "String", "first": "Date", "last": "Date",
    "periods": "Int64", "events": "Int64", "cases": "Int64", "expected": "Float64", "ratio": "Float64",
    "low": "Float64", "high": "Float64", "lot_inside": "String", "shape": "String", "p_value": "Float64",
    "p_within": "Float64", "verdict": "String", "echo_of": "Int64", "shared": "Float64",
}


def _table(rows: list[dict[str, Any]]) -> "pl.DataFrame":
    import polars as pl

    table = pl.DataFrame(rows, schema={name: getattr(pl, kind) for name, kind in COLUMNS.items()})
    finite = [
        (rounded_p_values if name.startswith("p_") else rounded)(
            [None if v is None or v == float("inf") else v for v in table[name].to_list()]  # type: ignore[misc]
        ).alias(name)
        for name, kind in COLUMNS.items()
        if kind == "Float64"
    ]
    return table.with_columns(finite)


def _series(found: BurstSearch, rows: list[dict[str, Any]], asked: BurstRequest) -> "pl.DataFrame":
    """Counts by period of every group that is listed, nothing set aside."""
    import polars as pl

    keys = {"dimension": pl.String, "part_no": pl.String, "name": pl.String}
    listed = pl.DataFrame(
        [{"dimension": r["dimension"], "part_no": r["part_no"] or "", "name": r["group"] or ""} for r in rows],
        schema=keys,
    ).unique()
    table = found.tables[0].join(listed, on=list(keys), how="semi").rename({"name": "group"})
    if not asked.mix:
        table = table.with_columns(pl.lit(None, dtype=pl.Float64).alias("expected"))
    return table.with_columns(pl.col("expected").round(6)).sort("dimension", "part_no", "group", "period")


def _notes(snapshot: Snapshot, found: BurstSearch, asked: BurstRequest) -> tuple[str, ...]:
    scan, notes = found.scans[0], [*snapshot.notes, *asked.scope.left_out]
    there, rests_on = grounds(snapshot, window=asked.window), GROUNDS[asked.what]
    if not found.found:
        few = f"windows with enough {NOUNS[asked.what]} to search"
        notes.append(there.claim("", *rests_on, about=f"whether {NOUNS[asked.what]} were bunched", among=(0, few)))
        return tuple(notes)
    own = [f for f in found.found if f.verdict == BURST]
    echoes = sum(f.verdict == ECHO for f in found.found)
    noun = NOUNS[asked.what]
    windows, dimensions = counted(scan.windows, "window"), counted(len(scan.dimensions), "dimension")
    searched = f"{windows} of {dimensions} {plural(scan.windows, 'was', 'were')} tried"
    if own:
        notes.append(
            f"{searched}: {counted(len(own), 'burst')} of {noun} beyond chance, "
            f"with {counted(echoes, 'echo', 'echoes')} listed: groups that look bunched as they share its cases."
        )
    else:
        none = f"{searched}, and none is fuller than chance makes the fullest of so many (5 %): no burst to act on."
        notes.append(there.claim(none, *rests_on, about=f"whether {noun} were bunched"))
    lasting = [d for d in asked.dimensions if d in LASTING]
    if lasting:
        notes.append(
            f"Time, and groups by {', '.join(lasting)}, are set against their own level in the {BESIDE} "
            f"{asked.period}s before and in those after, and have to stand out of both: one that is always "
            "worse, or worse until something was changed, is no burst (compare and control_chart find it). Without "
            "four before, nothing is said."
        )
    several = [d for d in asked.dimensions if d in ("bench", "tool", "lot")]
    if several and asked.what == "comebacks":
        notes.append(f"A job counts under each {', '.join(several)} that its logs name: their rows overlap.")
    if asked.what == "comebacks":
        notes.append(
            f"Come-backs counted are those within {counted(asked.window, 'day')} {in_words(asked.classes)[0]}. Weeks "
            "are those of closing; only jobs that have matured count, so the latest are not yet in."
        )
    if asked.what == "failed_checks":
        notes.append(
            "Of each job the first failed check counts, and no check after it: failures of one job often come "
            "together, and would look like a burst."
        )
    notes.append("A burst was picked as the strongest of many windows: its true ratio is likely smaller than it looks.")
    if found.scans[-1].p_value <= LUCK:
        notes.append("More may be left: the search ended after six bursts.")
    return tuple(notes)
