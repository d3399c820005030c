"""One job: its steps beside the procedure, its tests and parts, and what it returned with."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.site_clocks import SiteClocks, site_clocks
from rqa.answers.steps.breach_kinds import WORDS
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.shown import told
from rqa.store.engine import TECHNICIAN
from rqa.words import counted, did_you_mean, enumerated, spoken

if TYPE_CHECKING:
    import polars as pl

JOB = "job"
LIKE, SAID = 50, 5
"""Jobs like a text that is none, from which the nearest is chosen, and those of them that are told."""
APART = "\x1f"
"""Stands between kinds of breach."""
PLACES = {"step": "bench", "test": "station"}
"""What the place of a row is, by its kind."""
NOT_PLANNED = "not in the procedure"
NOT_LOGGED = "not logged"
LATE = "begun after a later step"
REPAIRED = "repaired"


class JobHistory(Answer):
    """All that the logs hold of one job: kind, name, planned, logged, phase, outcome, attempts, departs, at, place,
    fault, value, lower_limit, upper_limit, unit."""

    question = "One job"
    needs = ("jobs",)
    lists = "It is of one job already. Ask depot.unit(…) for the other jobs of its unit."
    shown = ("kind", "name", "planned", "logged", "outcome", "attempts", "departs", "value", "place")


def job(snapshot: Snapshot, job_id: str, *, people: bool = False) -> JobHistory:
    """Show one job beside its procedure: what was done, skipped, done again or in another order, tests, parts, return.

    `job_id`: the job, as in the logs. `people`: whether technicians are named, and places that are people; without it
    they are not.

    A row a step of the procedure in its order, then steps that it does not have, runs of tests and parts. Columns: kind
    ("step", "test", "part"), name, planned (the step's place in the procedure, from 1 on), logged (its place among the
    steps done, by the time of its first attempt; null where it was skipped or not logged), phase, outcome (of the last
    attempt or run; of a part its lot), attempts (of a run its number, of a part how many), departs (in words, where it
    departs from the procedure; "" where it does not), at (by the site's clock), place (bench or station), fault, value
    with lower_limit, upper_limit and unit. Breaches are those that `steps.breaches` counts, of repaired jobs alone; of
    them alone, and where any step is logged, a step that is not logged departs.

    Raises `RequestError` where no such job was opened up to the as-of day.

    >>> r = depot.job("A000001").table
    >>> r.filter(r["departs"] != "").select("name", "planned", "logged", "departs").rows()
    [('isolate battery', 4, 4, 'done 3 times'), ('reseat antenna cable', 14, 14, 'done 2 times')]

    Two of its steps were done again.
    """
    if not isinstance(job_id, str):
        raise RequestError(f'{JOB}: job_id is the job\'s id as a text, such as "A000843", not {job_id!r}.')
    wanted = job_id.strip()
    values: dict[str, object] = {"job": wanted, "as_of": snapshot.day}
    known = counts(snapshot.store, "job_known", values=values)
    if known.is_empty():
        like = counts(snapshot.store, "jobs_like", values={**values, "limit": LIKE})["job_id"].to_list()
        raise RequestError(
            f"{JOB}: no job with job_id {told(wanted)} was opened up to {snapshot.day}, or its row was refused "
            f"(depot.data.refused()). Like it are in the store: {enumerated(like[:SAID]) or 'none'}."
            f"{did_you_mean(wanted, like)}"
        )
    about = known.row(0, named=True)
    if counts(snapshot.store, "unsettled_jobs", values={"as_of": snapshot.day})["jobs"].sum():
        values["later"] = snapshot.day
    clocks = site_clocks(snapshot.store)
    table = _table(counts(snapshot.store, "job_course", values=values), about, clocks)
    if not people:
        hidden = [kind for kind, place in PLACES.items() if place in snapshot.store.people]
        table = _without_people(table, hidden)
    settings = {
        "job": wanted, **{name: about[name] for name in ("unit_id", "site", "model", "procedure", "opened_on",
                                                         "closed_on", "disposition")},
        "people": people, "as_of": snapshot.day,
    }
    notes = (*snapshot.notes, *_notes(about, table), clocks.note)
    return JobHistory(table, settings, (*notes, PEOPLE) if people else notes)


def _table(found: "pl.DataFrame", about: Mapping[str, Any], clocks: SiteClocks) -> "pl.DataFrame":
    """The rows with what departs in words, and times by the site's clock."""
    import polars as pl

    rows = list(found.iter_rows(named=True))
    departs = pl.Series("departs", _departures(rows, repaired=about["disposition"] == REPAIRED), dtype=pl.String)
    at = pl.col("first_at").dt.replace_time_zone("UTC").dt.convert_time_zone(clocks.of(about["site"]))
    return found.with_columns(departs, at.dt.replace_time_zone(None).alias("at")).select(
        "kind", "name", "planned", "logged", "phase", "outcome", "attempts", "departs", "at", "place", "fault", "value",
        "lower_limit", "upper_limit", "unit", TECHNICIAN,
    )


def _departures(rows: list[dict[str, Any]], *, repaired: bool) -> list[str]:
    """How each row departs from the procedure, in words.

    A step that is not logged departs from it only in a repaired job of which the log holds any step of the procedure.
    """
    has_plan = any(r["planned"] is not None for r in rows)
    whole = repaired and any(r["planned"] is not None and r["attempts"] for r in rows)
    done = [r for r in rows if r["planned"] is not None and r["logged"] is not None]
    late = {r["name"] for r in done if any(o["planned"] > r["planned"] and o["logged"] < r["logged"] for o in done)}
    said = []
    for r in rows:
        if r["kind"] != "step":
            said.append("")
            continue
        kinds = r["breaches"].split(APART) if r["breaches"] else []
        words = [WORDS[kind] for kind in kinds]
        if has_plan and r["planned"] is None and r["name"]:
            words.append(NOT_PLANNED)
        if whole and r["attempts"] == 0 and r["name"] and "missing" not in kinds:
            words.append(NOT_LOGGED)
        if r["outcome"] == "skipped" and "skipped" not in kinds:
            words.append("skipped")
        if r["attempts"] > 1:
            words.append(f"done {counted(r['attempts'], 'time')}")
        if r["name"] in late and not {"out_of_order", "check_before_tightening"} & {*kinds}:
            words.append(LATE)
        said.append("; ".join(words))
    return said


def _without_people(table: "pl.DataFrame", hidden: list[str]) -> "pl.DataFrame":
    """The rows without technicians, and without the places that are people."""
    import polars as pl

    place = pl.when(pl.col("kind").is_in(hidden)).then(None).otherwise(pl.col("place"))
    return table.drop(TECHNICIAN).with_columns(place.alias("place"))


def _notes(about: Mapping[str, Any], table: "pl.DataFrame") -> list[str]:
    """What the job is, how it departs, what it came from and what it returned with."""
    ended = spoken(about["disposition"])
    closed = f"closed {about['closed_on']} as {ended}" if about["closed_on"] else "open"
    complaint = f", complaint {spoken(about['complaint'])}" if about["complaint"] else ""
    found = f", found at fault {spoken(about['found'])}" if about["found"] else ""
    notes = [f"Unit {about['unit_id']}: opened {about['opened_on']}{complaint}; {closed}{found}."]
    if about["came_back_from"]:
        notes.append(f"It is the return of job {about['came_back_from']} after {counted(about['after'], 'day')}.")
    if about["return_job_id"]:
        what = "nothing" if about["class"] == "no_fault_found" else spoken(about["found_then"] or "not written down")
        notes.append(
            f"It came back after {counted(about['days'], 'day')} (job {about['return_job_id']}): "
            f"{spoken(about['class'])}, found at fault: {what}."
        )
    departs = int((table["departs"] != "").sum())
    planned = table.filter((table["kind"] == "step") & table["planned"].is_not_null())
    if planned.is_empty():
        return notes
    procedure = f"its procedure of {counted(planned.height, 'step')}"
    if not planned["attempts"].sum():
        return [*notes, f"It is not compared with {procedure}: no step of it is logged."]
    but = "" if about["disposition"] == REPAIRED else f"; steps that are not logged do not count, as it is {ended}"
    return [*notes, f"{counted(departs, 'row departs', 'rows depart')} from {procedure}{but}."]
