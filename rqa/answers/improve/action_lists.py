"""The jobs before and after an action: the list behind its verdict and its trend."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from rqa.answers.comebacks.counted import counted_comebacks
from rqa.answers.core.action_scope import ActionScope
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.scope import Snapshot
from rqa.answers.improve.action_work import asked_of

KEYS = {"action_id": "action_id", "month": "closed_month"}
COUNTS = {
    "jobs_before": Count(("before",)), "returned_before": Count(("before", "came_back")),
    "jobs_after": Count(("after",)), "returned_after": Count(("after", "came_back")),
}
BY_MONTH = {"jobs": Count(("dated",)), "returned": Count(("dated", "came_back"))}


def action_list(
    snapshot: Snapshot, scope: ActionScope, started_on: date, window: int, *, counts: Mapping[str, Count],
    before_days: int, returned: str,
) -> CaseList:
    """The list of one action's work, from `before_days` before its start on."""
    where, values = asked_of(snapshot, scope, started_on, window, before_days, counted_comebacks(snapshot, window))
    kept: Any = {name: tuple(listed) for name, listed in where.items()}
    return CaseList("listed_action_jobs", counts, keys=KEYS, values=values, where=kept, returned=returned)
