"""The day from which a person asks to look at a depot: neither before its data, nor after what could be seen."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from rqa.answers.core.scope import Snapshot, snapshot_at, time_of
from rqa.errors import RequestError
from rqa.measures.run import counts

if TYPE_CHECKING:
    from rqa.store.engine import Store

FARTHEST = timedelta(hours=14)
"""How far the clocks of some places are ahead of UTC: a day that has begun nowhere is still to come."""


def snapshot_within(store: "Store", as_of: str | date | datetime | None) -> Snapshot:
    """The time a store is looked at: the one given, but never one that its data does not reach to.

    Nothing is known of what happened after the latest day in the store. A day after it, up to today, is taken as that
    day, so that jobs mature no further than they were followed, and a note says so. Raises `RequestError` for a day
    before the first dated row, or still to come.
    """
    found = counts(store, "latest").row(0, named=True)
    first, latest = found["first_on"], found["latest_on"]
    if as_of is None or first is None or latest is None:
        return snapshot_at(store, as_of)
    day = time_of(as_of).date()
    held = f"the store's data is of {first} to {latest}"
    today = (datetime.now(UTC) + FARTHEST).date()
    if day > max(today, latest):
        raise RequestError(
            f"as_of: {day} is still to come, and {held}. Give a day up to today, or none to look from the latest day."
        )
    if day < first:
        raise RequestError(f"as_of: {day} is before all data; {held}. Give a day from {first} on.")
    if day <= latest:
        return snapshot_at(store, as_of)
    snapshot = snapshot_at(store, None)
    note = (
        f"Asked for as of {day}, but the latest day in the store is {snapshot.day}: all is seen as of that day, as "
        "returns after it could not be seen."
    )
    return replace(snapshot, notes=(*snapshot.notes, note))
