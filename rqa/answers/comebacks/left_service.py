"""Units that left service within the window: the matured rate takes them as not come back; when that matters."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from rqa.answers.core.grounds import grounds
from rqa.answers.core.scope import Snapshot
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import count, counted, percent, plural, spoken

MATTERS = 0.05
"""Share of itself by which a rate would be higher without them, from which on it is said: one in twenty."""
WINDOWS = (30, 90)
"""Days at which a curve is compared with the matured rate."""
NAMED = 3
"""Groups named."""


def left_service_notes(
    snapshot: Snapshot,
    *,
    window: int,
    by: Sequence[str] = (),
    where: Mapping[str, Sequence[str]] | None = None,
    months: tuple[date, date] | None = None,
    index_disposition: str = "repaired",
) -> tuple[str, ...]:
    """What to say of units that left service within the window, where leaving them out moves the rate by 1 in 20 of it.

    It is said of the whole, and of the groups in which it matters; not by period. Filters by step or test do not count
    here. `by` or `where` with class: what is returned are come-backs of some classes, so only the factor is said.
    """
    if "retirements" not in grounds(snapshot).present:
        return ()
    classes = "class" in (*by, *(where or ()))
    kept = {name: values for name, values in (where or {}).items() if name in JOB_NAMES}
    groups = [name for name in by if name in JOB_NAMES]
    values = {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
    rows = counts(snapshot.store, "left_service", by=groups, where=kept, months=months, values=values).to_dicts()
    whole = {name: sum(int(r[name]) for r in rows) for name in ("matured", "returned", "left_service")}
    notes = []
    if matters(whole):
        notes.append(
            f"{count(whole['left_service'])} of {counted(whole['matured'], 'matured job')} "
            f"{plural(whole['left_service'], 'is of a unit', 'are of units')} that left service within "
            f"{counted(window, 'day')} without coming back; the rate takes them as not come back. "
            + (_factor(whole) if classes else _without(whole, window))
        )
    apart = [r for r in rows if groups and matters(r)]
    if apart and not classes:
        most = sorted(apart, key=lambda r: -r["left_service"])[:NAMED]
        said = "; ".join(
            f"{', '.join(spoken(r[g]) for g in groups)}: {percent(r['returned'] / (r['matured'] - r['left_service']))} "
            f"instead of {percent(r['returned'] / r['matured'])}"
            for r in most
        )
        more = f", and {counted(len(apart) - NAMED, 'more group')}" if len(apart) > NAMED else ""
        notes.append(f"Without units that left service within {counted(window, 'day')} the rate would be {said}{more}.")
    return tuple(notes)


def matters(row: Mapping[str, Any]) -> bool:
    """Whether the rate of the units that stayed in service is higher by a twentieth of itself or more."""
    stayed = row["matured"] - row["left_service"]
    if not row["returned"] or not row["left_service"] or stayed <= 0:
        return False
    return bool(row["left_service"] / stayed >= MATTERS)


def _without(row: Mapping[str, int], window: int) -> str:
    stayed = row["matured"] - row["left_service"]
    return (
        f"Of the {counted(stayed, 'unit')} followed for all {counted(window, 'day')}, "
        f"{percent(row['returned'] / stayed)} came back, instead of {percent(row['returned'] / row['matured'])}."
    )


def _factor(row: Mapping[str, int]) -> str:
    factor = row["matured"] / (row["matured"] - row["left_service"])
    return f"Of the units followed for the whole window {factor:.2f} times as many came back."


def curve_note(
    snapshot: Snapshot,
    share: Mapping[int, float],
    *,
    where: Mapping[str, Sequence[str]] | None = None,
    months: tuple[date, date] | None = None,
    index_disposition: str = "repaired",
) -> tuple[str, ...]:
    """Why a curve, whose `share` by day is given, stands above the matured rate, where that matters."""
    if "retirements" not in grounds(snapshot).present or not set(where or ()) <= {*JOB_NAMES}:
        return ()
    said, left = [], 0
    for window in (day for day in WINDOWS if day in share):
        values = {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
        (row,) = counts(snapshot.store, "left_service", where=where, months=months, values=values).to_dicts()
        if matters(row):
            left = row["left_service"]
            said.append(
                f"at {counted(window, 'day')} it stands at {percent(share[window])}, the matured rate at "
                f"{percent(row['returned'] / row['matured'])}"
            )
    if not said:
        return ()
    return (
        f"The curve follows units until they leave service; the matured rate takes them ({count(left)} within the "
        f"window) as not come back: {'; '.join(said)}.",
    )
