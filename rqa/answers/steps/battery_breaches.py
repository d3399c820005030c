"""The breaches of the battery's order, job by job: a safety event each, never averaged into a rate nor drawn."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from rqa.answers.core.case_lists import OWN_JOBS
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Months, Scope, Snapshot, Where, check_values, scope
from rqa.answers.core.site_clocks import SiteClocks, site_clocks
from rqa.answers.steps.breach_kinds import CAUTION
from rqa.measures.run import counts
from rqa.words import count, counted, listed

QUESTION = "battery_breaches"
FILTERS = ("month", "site", "model", "procedure", "billing")
IN_UTC = "acted_at and reached_at are in UTC; what happened is told by the site's own clock."
"""Said of the answer's times; what has none of these columns leaves it out."""
NEVER = {
    "failed": "failed and was never passed",
    "skipped": "was skipped",
    "missing": "is missing from the log",
}


class BatteryBreaches(Answer):
    """Breaches of the battery's order, job by job: job_id, unit_id, site, day, kind, step, other_step, what, acted_at,
    reached_at, bench; technician where asked for."""

    question = "Breaches of the battery's order"
    in_table_only = ("other_step",)
    needs = ("steps", "procedures", "described_jobs", "isolation")
    nothing_found = "No breach of the battery's order is logged in the jobs asked about."
    looks_at = ("closed_there", "logged_there", "isolation_there")
    lists = OWN_JOBS


def battery_breaches(
    snapshot: Snapshot, where: Where | None = None, *, months: Months | None = None, people: bool = False
) -> BatteryBreaches:
    """List every closed job in which work began inside before the battery was isolated, or it was reconnected early.

    `where` takes site, model, procedure, billing; `months` are those of closing; `people` adds who did it. A row a
    breach: job_id, unit_id, site, day, kind, step, other_step, what, acted_at, reached_at, bench; these times are in
    UTC. `what` says what happened in words, by the site's own clock.

    In repaired jobs every step that is not of phase open or isolate is work inside; in others, which may have been
    looked at closed, only release, remove, fit and reseat are. The reconnection is the last step of phase reseat with
    the hazard battery; before it come the step it must follow and every count of connectors.

    >>> depot.steps.battery_breaches().table.select("job_id", "kind", "other_step").row(0)
    ('B000029', 'reconnected_early', 'count connectors')

    A battery was reconnected before the connectors had been counted.
    """
    import polars as pl

    asked = scope(QUESTION, by=(), where=where, months=months, allowed=FILTERS)
    check_values(snapshot.store, QUESTION, asked.where)
    table = counts(
        snapshot.store, QUESTION, by=("site",), where=asked.where, months=asked.months, values={"as_of": snapshot.day}
    )
    clocks = site_clocks(snapshot.store)
    told = pl.Series("what", [_what(row, clocks) for row in table.iter_rows(named=True)], dtype=pl.String)
    shown = [
        "job_id",
        "unit_id",
        "site",
        "day",
        "kind",
        "step",
        "other_step",
        "what",
        "acted_at",
        "reached_at",
        "bench",
    ]
    made = table.with_columns(told).select(*shown, *(["technician"] if people else []))
    made = made.sort("day", "job_id", "kind", "step", "other_step")
    notes = [*snapshot.notes, *_looked_at(snapshot, asked)]
    if table.height:
        notes.append(f"This list is no rate and no verdict; {CAUTION}.")
        notes.append(IN_UTC)
        untimed = table["acted_at"].null_count()
        if untimed:
            notes.append(f"In {count(untimed)} of them the time is not known; order is by place in the log.")
    return BatteryBreaches(made, {"as_of": snapshot.day, **asked.settings(), "people": people}, tuple(notes))


def _looked_at(snapshot: Snapshot, asked: Scope) -> list[str]:
    """Of how many of the jobs asked about a breach could be seen, and why not of the others."""
    table = counts(
        snapshot.store, "battery_looked_at", where=asked.where, months=asked.months, values={"as_of": snapshot.day}
    )
    closed, logged, judged = (int(table[name].sum()) for name in ("closed", "logged", "judged"))
    if not judged:
        return []
    said = (
        f"A breach could be seen in {count(judged)} of {counted(closed, 'closed job')}: those whose steps are logged "
        "and whose procedure says when the battery is isolated."
    )
    why = [f"{counted(closed - logged, 'job has', 'jobs have')} no step log"] * (closed > logged)
    why += [
        f"{counted(logged - judged, 'job has', 'jobs have')} a log and a procedure that does not say it"
    ] * (logged > judged)
    return [f"{said} Of the others it cannot be told: {listed(why)}." if why else said]


def _what(row: dict[str, Any], clocks: SiteClocks) -> str:
    """What happened, in words and times of the site's clock."""
    zone = clocks.of(row["site"])
    late = row["kind"] == "isolated_late"
    began = f"“{row['other_step' if late else 'step']}” began{_clock(row['acted_at'], zone)}"
    before = row["step"] if late else row["other_step"]
    if row["state"] == "later":
        return f"{began}, “{before}” was done only{_clock(row['reached_at'], zone) or ' later in the log'}"
    return f"{began}, but “{before}” {NEVER[row['state']]}"


def _clock(time: datetime | None, zone: str) -> str:
    """A time of the store, which is in UTC, as the clock on the wall showed it."""
    if time is None:
        return ""
    return f" at {time.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)):%H:%M} {zone}"
