"""Work before and after an action against a slow row loop, on depots full of ties and overlaps."""

from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.improve import by_hand_actions
from tests.measures.small_depots import START, SUBSYSTEMS, tables

FEW = settings(
    max_examples=examples(12), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
days = st.integers(-10, 120).map(lambda d: START.date() + timedelta(days=d))
names = st.lists(st.sampled_from(("site", "model", "procedure", "technician", "billing")), unique=True, max_size=2)
steps = st.lists(st.sampled_from(("open case", "seat board")), unique=True, max_size=2)


def keyed(table: pl.DataFrame) -> dict[Any, tuple[int, int]]:
    return {tuple(row[:-2]): (row[-2], row[-1]) for row in table.iter_rows()}


@FEW
@given(
    data=tables(), by=names, started_on=days, before=st.integers(0, 60), as_of=days, window=st.sampled_from((0, 5, 30)),
    recent=st.sampled_from((0, 7, 60)), named=steps,
    faults=st.lists(st.sampled_from(SUBSYSTEMS), unique=True, max_size=2),
    classes=st.sampled_from((["repeat", "workmanship"], ["unknown"])),
)
def test_work_before_and_after(
    data: dict[str, Any], by: list[str], started_on: date, before: int, as_of: date, window: int, recent: int,
    named: list[str], faults: list[str], classes: list[str],
) -> None:
    first_on = started_on - timedelta(days=before)
    how = {
        "started_on": started_on, "first_on": first_on, "as_of": as_of, "window": window, "recent": recent,
        "steps": named, "subsystems": faults, "classes": classes,
    }
    checks = {name: how[name] for name in ("started_on", "first_on", "as_of", "steps")}
    with depot_of(data) as depot:
        work = counts(depot._store, "action_jobs", by=by, values={**how, "disposition": "repaired"})
        first = counts(depot._store, "action_checks", by=by, values=checks)
    assert keyed(work) == by_hand_actions.action_jobs(data, by, **how)
    assert keyed(first) == by_hand_actions.action_checks(data, by, **checks)


@FEW
@given(data=tables())
def test_subsystems_of_steps(data: dict[str, Any]) -> None:
    with depot_of(data) as depot:
        found = counts(depot._store, "touched_by_step")
    by_row = {(p["procedure"], p["step"], s) for p in data["procedures"] for s in p["subsystems"] or []}
    assert found.rows() == sorted(by_row)
