"""Whether the work of an action can be seen: jobs in its scope, step logs of them, and its steps in these logs."""

from rqa.answers.core.action_scope import ActionScope
from rqa.answers.core.grounds import CANNOT, WINDOW, Sentence, grounds
from rqa.answers.core.scope import Snapshot
from rqa.measures.run import counts
from rqa.words import counted, listed, plural, spoken

ABOUT = "whether come-backs became fewer"
STEP_SEEN = "the steps of the scope in the logs of its jobs"
"""What a sentence lacks that says that no job in the scope ever logs its steps."""


def lacking(snapshot: Snapshot, scope: ActionScope, window: int = WINDOW) -> Sentence | None:
    """That nothing can be told of a scope, for want of jobs, of step logs or of its steps in them; None: it can."""
    rests_on = ("closed_jobs", "repeat_units", "closed_there", *(("steps", "logged_there") if scope.steps else ()))
    there = grounds(snapshot, window=window, where=scope.jobs)
    return there.lack(*rests_on, about=ABOUT) or unseen(snapshot, scope)


def unseen(snapshot: Snapshot, scope: ActionScope) -> Sentence | None:
    """That the jobs in the scope have step logs, and none of them ever names a step of the scope."""
    if not scope.steps:
        return None
    table = counts(
        snapshot.store, "scope_steps", where=scope.jobs, values={"steps": scope.steps, "as_of": snapshot.day}
    )
    logged, did = int(table["logged"].sum()), int(table["did"].sum())
    if did or not logged:
        return None
    remedy = "Check how the step is called in these logs, or leave it out of the scope."
    said = (
        f"{CANNOT}{ABOUT}, as no {_named(scope)} was ever done in the {counted(logged, 'closed job')} with a step log "
        f"in the scope ({scope})."
    )
    return Sentence(f"{said} {remedy}", lacks=(STEP_SEEN,), remedy=(remedy,))


def sites_without(snapshot: Snapshot, scope: ActionScope) -> list[str]:
    """Which sites log steps of jobs in the scope, whose procedure has its steps, and never log these: a warning."""
    if not scope.steps:
        return []
    values = {"steps": scope.steps, "as_of": snapshot.day}
    table = counts(snapshot.store, "scope_steps", by=("site",), where=scope.jobs, values=values)
    silent = table.filter((table["did"] == 0) & (table["declared"] > 0))
    if silent.is_empty() or silent.height == table.height:
        return []
    names, jobs = listed([spoken(name) for name in silent["site"]]), int(silent["declared"].sum())
    return [
        f"No {_named(scope)} is ever logged at {plural(silent.height, 'site', 'sites')} "
        f"{names}, in {counted(jobs, 'job')} whose procedure has it: {plural(jobs, 'it is', 'they are')} not among the "
        "work compared. Check how it is called there."
    ]


def _named(scope: ActionScope) -> str:
    return f"step {listed([f'“{step}”' for step in scope.steps], last='or')}"
