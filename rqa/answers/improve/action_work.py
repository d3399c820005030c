"""The work an action is about and the work beside it, before and after: counts by kind of work and month."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.comebacks.counted import CountedClasses, counted_comebacks
from rqa.answers.core.action_scope import ActionScope
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.told_sites import told_where
from rqa.measures.run import Where, counts
from rqa.words import listed

if TYPE_CHECKING:
    import polars as pl

KINDS = ("site", "model", "procedure", "billing")
"""What makes jobs alike; within each kind before is compared with after."""
RELEASED = ("technician", "site", "model")
"""Which filter is let go to find work like that of the scope, the first that the scope has. A procedure or step never
is: other procedures come back at other rates and for other reasons, so their ups and downs say little of these."""
BEFORE_DAYS = 365
"""Days of closings before the start that the work after it is compared with."""
RECENT_DAYS = 60
"""Days before the start in which a bad spell may have led to the action."""
Counts = NDArray[np.int64]


@dataclass(frozen=True)
class ActionWork:
    """Counts of one scope: `own` work and work `beside` it (None where there is none like it).

    Columns of both: the kinds, side, closed_month, known_month, recent, matured, returned. `touched`: the subsystems
    whose come-backs count; all where empty. `like`: what the work beside is, in words. `found`: whether
    faults are confirmed; where most are not, all come-backs count, since no class can be told. `first_on` is the first
    day of closing that counts as before: where the log begins later than asked, its first day. `left_out` says whose
    jobs are not among these, as their come-backs are not known by class; `untold` that those of the scope are such.
    """

    scope: ActionScope
    own: "pl.DataFrame"
    beside: "pl.DataFrame | None"
    touched: tuple[str, ...]
    like: str
    first_on: date
    found: bool = True
    left_out: tuple[str, ...] = ()
    untold: bool = False

    @property
    def outcome(self) -> str:
        """Which come-backs count, in words."""
        if not self.found:
            return "come-backs of any class, as it is not known which are on own work"
        if self.touched:
            return f"come-backs on own work, {listed(self.touched, last='or')} at fault"
        return "come-backs on own work"


def action_work(
    snapshot: Snapshot, scope: ActionScope, started_on: date, window: int, *, before_days: int = BEFORE_DAYS
) -> ActionWork:
    """Count an action's work and the work beside it, from `before_days` before the start on."""
    counted = counted_comebacks(snapshot, window)
    faults, classes = not counted.any_class, counted.classes
    touched = touched_by(snapshot, scope) if faults else ()
    asked = told_where(snapshot, scope.jobs, classes)
    untold = asked.where.get("site") == ()
    first_on = _first_on(snapshot, asked.where, started_on, before_days)
    own = _summed(_counted(snapshot, asked.where, scope.steps, touched, classes, (first_on, started_on), window))
    released = next((name for name in RELEASED if name in scope.jobs), None)
    if released is None:
        return ActionWork(scope, own, None, touched, "", first_on, faults, asked.left_out, untold)
    import polars as pl

    beside = told_where(snapshot, {name: kept for name, kept in scope.jobs.items() if name != released}, classes)
    found = _counted(
        snapshot, beside.where, scope.steps, touched, classes, (first_on, started_on), window, more=(released,)
    )
    found = found.filter(~pl.col(released).is_in(scope.jobs[released]))
    like = f"the same work of other {released}s"
    left_out = asked.left_out or beside.left_out
    return ActionWork(scope, own, _summed(found), touched, like, first_on, faults, left_out, untold)


def asked_of(
    snapshot: Snapshot, scope: ActionScope, started_on: date, window: int, before_days: int, counted: CountedClasses
) -> tuple[Where, dict[str, object]]:
    """The filters of an action's own work, and the values with which it is counted."""
    touched = () if counted.any_class else touched_by(snapshot, scope)
    where = told_where(snapshot, scope.jobs, counted.classes).where
    days = (_first_on(snapshot, where, started_on, before_days), started_on)
    return where, _values(snapshot, scope.steps, touched, counted.classes, days, window)


def _first_on(snapshot: Snapshot, where: Where, started_on: date, before_days: int) -> date:
    """The first day of closing that counts as before the start: not one before the log of the scope's sites begins."""
    sites = {name: kept for name, kept in where.items() if name == "site"}
    begins = counts(snapshot.store, "first_closing", where=sites, values={"as_of": snapshot.day})["first_on"]
    earliest = started_on - timedelta(days=before_days)
    return max([earliest, *(day for day in begins if day is not None and day < started_on)])


def touched_by(snapshot: Snapshot, scope: ActionScope) -> tuple[str, ...]:
    """The subsystems that the steps of a scope touch, in its procedures; none where the scope has no step."""
    table = counts(snapshot.store, "touched_by_step") if scope.steps else None
    if table is None:
        return ()
    procedures = scope.jobs.get("procedure")
    rows = table.iter_rows(named=True)
    kept = (r for r in rows if r["step"] in scope.steps and (not procedures or r["procedure"] in procedures))
    return tuple(sorted({r["subsystem"] for r in kept}))


def tables(
    frame: "pl.DataFrame | None", *, known_by: date | None = None, spare_recent: bool = False
) -> tuple[Counts, Counts, Counts, Counts]:
    """Come-backs and jobs before, come-backs and jobs after, by kind of work.

    `known_by` keeps what had matured by the end of that month; `spare_recent` leaves out the days before the start.
    """
    import polars as pl

    if frame is None or frame.is_empty():
        return tuple(np.zeros(1, dtype=np.int64) for _ in range(4))  # type: ignore[return-value]
    kept = frame.filter(pl.col("side") != "under way")
    if known_by is not None:
        kept = kept.filter(pl.col("known_month") <= known_by.replace(day=1))
    if spare_recent:
        kept = kept.filter(~pl.col("recent"))
    sums = [
        pl.col(name).filter(pl.col("side") == side).sum().alias(f"{name}_{side}")
        for side in ("before", "after") for name in ("returned", "matured")
    ]
    summed = kept.group_by(KINDS).agg(sums).sort(KINDS)
    if summed.is_empty():
        return tables(None)
    return tuple(
        summed[name].to_numpy().astype(np.int64)
        for name in ("returned_before", "matured_before", "returned_after", "matured_after")
    )  # type: ignore[return-value]


def first_checks(snapshot: Snapshot, scope: ActionScope, started_on: date) -> dict[str, tuple[int, int]]:
    """First checks of the scope's steps, and how many of them passed, by side."""
    table = counts(
        snapshot.store, "action_checks", where=dict(scope.jobs),
        values={"as_of": snapshot.day, "started_on": started_on, "first_on": started_on - timedelta(days=BEFORE_DAYS),
                "steps": list(scope.steps)},
    )
    found = {"before": (0, 0), "after": (0, 0)}
    return found | {side: (checked, passed) for side, checked, passed in table.iter_rows()}


def _counted(
    snapshot: Snapshot,
    where: Any,
    steps: Sequence[str],
    touched: Sequence[str],
    classes: Sequence[str],
    days: tuple[date, date],
    window: int,
    more: tuple[str, ...] = (),
) -> "pl.DataFrame":
    import polars as pl

    found = counts(
        snapshot.store, "action_jobs", by=tuple(dict.fromkeys((*KINDS, *more))), where=dict(where),
        values=_values(snapshot, steps, touched, classes, days, window),
    )
    return found.filter(pl.col("did_step"))


def _values(
    snapshot: Snapshot, steps: Sequence[str], touched: Sequence[str], classes: Sequence[str], days: tuple[date, date],
    window: int,
) -> dict[str, object]:
    """The values that the measure of an action's work takes."""
    return {
        "window": window, "recent": RECENT_DAYS, "as_of": snapshot.day, "first_on": days[0], "started_on": days[1],
        "disposition": "repaired", "classes": list(classes), "steps": list(steps), "subsystems": list(touched),
    }


def _summed(frame: "pl.DataFrame") -> "pl.DataFrame":
    import polars as pl

    keys = [*KINDS, "side", "closed_month", "known_month", "recent"]
    return frame.group_by(keys).agg(pl.col("matured", "returned").sum()).sort(keys)
