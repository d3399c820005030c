"""One unit: what was done to it, what failed, and how it came back."""

from collections.abc import Collection
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import OWN_JOBS
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.site_clocks import SiteClocks, site_clocks
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.shown import told
from rqa.store.engine import TECHNICIAN
from rqa.words import counted, did_you_mean, enumerated

if TYPE_CHECKING:
    import polars as pl

UNIT = "unit"
LIKE, SAID = 50, 5
"""Units like a text that is none, from which the nearest is chosen, and those of them that are told."""
AT_ONCE = "Steps that passed at the first attempt are not listed; depot.job(…) shows all steps of one job."
PLACES = {"step": "bench", "test": "station"}
"""Events that have a place, and the column that names it."""


class UnitHistory(Answer):
    """One unit, job by job: job_id, site, model, event, day, at, what, outcome, number, place."""

    question = "History of a unit"
    needs = ("jobs",)
    lists = OWN_JOBS


def unit(snapshot: Snapshot, unit_id: str, *, people: bool = False) -> UnitHistory:
    """List what the logs hold of one unit, job by job in order of time; steps that passed at once are left out.

    `unit_id`: the unit, read as a load reads it: in capitals, without spaces. `people`: whether technicians are named,
    and places that are people; without it they are not.

    Columns: job_id, site, model, event, day, at (by the site's clock; missing where its log has no time), what,
    outcome, number, place. Events: opened (what: the complaint; outcome: the procedure), came back (that job is a
    come-back; what: its class; number: days since the closing of the repair before), came again (after a job that found
    no fault, which rates do not count; number: the days since), step (only those that failed, were skipped or were
    done again; number: the attempt; place: the bench), test (each run; place: the station), part (what: part_no;
    outcome: lot), closed (what: the subsystem found; outcome: the disposition), left service.

    Raises `RequestError` where no job of the unit was opened up to the as-of day, and for what is no text.

    >>> r = depot.unit("M10-008758").table
    >>> r.filter(r["event"].is_in(["opened", "came back"])).select("job_id", "event", "what", "number").rows()[:3]
    [('A000560', 'opened', 'main_board', None), ('A000613', 'opened', 'display', None), \
('A000613', 'came back', 'workmanship', 14)]

    Two weeks after its board was repaired the unit came back, for a fault in what that repair had touched.
    """
    if not isinstance(unit_id, str):
        raise RequestError(f"{UNIT}: unit_id is the unit's id as a text, such as \"M10-008758\", not {unit_id!r}.")
    wanted = "".join(unit_id.split()).upper()
    table = counts(snapshot.store, "unit_history", values={"unit": wanted, "as_of": snapshot.day})
    jobs = table["job_id"].drop_nulls().n_unique()
    if not jobs:
        like = counts(snapshot.store, "units_like", values={"unit": wanted, "as_of": snapshot.day, "limit": LIKE})
        there = like["unit_id"].to_list()
        raise RequestError(
            f"{UNIT}: no job of a unit {told(wanted)} was opened up to {snapshot.day}, or its row was refused "
            "(depot.data.refused()). Like it are in the store: "
            f"{enumerated(there[:SAID]) or 'none'}.{did_you_mean(wanted, there)}"
        )
    clocks = site_clocks(snapshot.store)
    backs = int((table["event"] == "came back").sum())
    notes = (*snapshot.notes, f"{counted(jobs, 'job')}, {counted(backs, 'come-back')}.", AT_ONCE, clocks.note)
    settings = {"unit": wanted, "people": people, "as_of": snapshot.day}
    named = table if people else _without_people(table, snapshot.store.people)
    return UnitHistory(_by_the_clock(named, clocks), settings, (*notes, PEOPLE) if people else notes)


def _without_people(table: "pl.DataFrame", people: Collection[str]) -> "pl.DataFrame":
    """The history without technicians, and without the places that are people."""
    import polars as pl

    hidden = [event for event, place in PLACES.items() if place in people]
    place = pl.when(pl.col("event").is_in(hidden)).then(None).otherwise(pl.col("place"))
    return table.drop(TECHNICIAN).with_columns(place.alias("place"))


def _by_the_clock(table: "pl.DataFrame", clocks: SiteClocks) -> "pl.DataFrame":
    """The history with each time by the clock of its site."""
    import polars as pl

    at, by_site = pl.col("at"), pl.col("at")
    for site in table["site"].drop_nulls().unique():
        there = at.dt.replace_time_zone("UTC").dt.convert_time_zone(clocks.of(site)).dt.replace_time_zone(None)
        by_site = pl.when(pl.col("site") == site).then(there).otherwise(by_site)
    return table.with_columns(by_site.alias("at"))
