"""Checks logged on jobs that the store does not hold: they count, and that is said."""

from rqa.answers.core.scope import Scope, Snapshot
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts, groupings
from rqa.words import counted, plural

MEASURE = "checks_of_no_job"


def unheld_jobs_note(snapshot: Snapshot, asked: Scope, log: str) -> tuple[str, ...]:
    """How many of the first checks (or first runs) counted are of jobs that were refused or never sent.

    Nothing is said where jobs are filtered by what they are, which leaves these out, or by what is not told of them.
    """
    values: dict[str, object] = {"as_of": snapshot.day, "log": log}
    if set(asked.where) & set(JOB_NAMES) or not set(asked.where) <= set(groupings(MEASURE)):
        return ()
    asked_of = ("unheld jobs", snapshot.day, log)
    if not snapshot.store.once(MEASURE, asked_of, lambda: (_unheld(snapshot, Scope((), {}, None), values),))[0][0]:
        return ()
    checks, jobs = _unheld(snapshot, asked, values)
    if not checks:
        return ()
    noun = ("first run", "first runs") if log == "diagnostics" else ("first check", "first checks")
    return (
        f"{counted(checks, *noun)} {plural(checks, 'is', 'are')} of {counted(jobs, 'job')} that the store does not "
        f"hold (refused, or never sent): {plural(checks, 'it counts', 'they count')}, and what the job would say of "
        f"{plural(checks, 'it', 'them')} is unknown.",
    )


def _unheld(snapshot: Snapshot, asked: Scope, values: dict[str, object]) -> tuple[int, int]:
    made = counts(snapshot.store, MEASURE, by=(), where=asked.where, months=asked.months, values=values)
    return int(made["checks"][0]), int(made["jobs"][0])
