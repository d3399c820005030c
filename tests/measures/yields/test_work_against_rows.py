"""Rework, defects, shifts and practice against a slow row loop, on depots full of ties and gaps."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.core.scope import Scope
from rqa.answers.yields.defects import defect_counts
from rqa.answers.yields.first_pass import by_group
from rqa.measures.run import counts
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.small_depots import START, maybe, tables
from tests.measures.yields import by_hand_work

SLOW = settings(
    max_examples=examples(12), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
NAMES = ("month", "site", "model", "procedure", "technician", "billing", "step", "bench", "tool", "phase")
ZONES = {"Alder": "Europe/Lisbon", "Birch": "Asia/Tokyo"}
as_ofs = st.one_of(st.none(), st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d)))


@st.composite
def worked(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """A small depot whose attempts take time, have fault codes, come within hours, and follow trainings."""
    made = draw(tables())
    for job in made["jobs"]:
        job["labour_minutes"] = draw(maybe((None, 10.0, 45.5)))
    for step in made["steps"]:
        step["fault"] = draw(maybe((None, "F1", "F2")))
        if step["ended_at"] is not None:
            step["ended_at"] = START + timedelta(days=draw(maybe((0, 1, 60))), hours=draw(st.integers(0, 30)))
            step["done_on"] = step["ended_at"].date()
            step["started_at"] = draw(maybe((None, step["ended_at"] - timedelta(minutes=draw(maybe((0, 5, 95)))))))
    for step in made["procedures"]:
        step["opportunities"] = draw(maybe((1, 2, 5)))
    made["actions"] = [
        {"action_id": f"A{i}", "what": "x", "scope": draw(maybe((
            "technician=T01", "procedure=board; technician = T02 , T03", "site=Alder", "technician=",
        ))), "started_on": START.date() + timedelta(days=draw(maybe((0, 1, 40))))}
        for i in range(draw(st.integers(0, 2)))
    ]
    return made


def asked(data: Mapping[str, Any], measure: str, as_of: date | None, **more: Any) -> tuple[pl.DataFrame, date]:
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        values = {"as_of": day, **more.pop("values", {})}
        return counts(depot._store, measure, values=values, **more), day


def as_dict(table: pl.DataFrame, keys: int) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    return {row[:keys]: row[keys:] for row in table.rows()}


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(names), unique=True, max_size=3).map(tuple)


def whole(expected: dict[Any, Any], by: tuple[str, ...], zero: tuple[int, ...]) -> dict[Any, Any]:
    return expected if by else {(): expected.get((), zero)}


@SLOW
@given(data=worked(), as_of=as_ofs, by=groups(*NAMES))
def test_rework_failures_and_defects(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    coded = (*by[:2], "fault")
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        again = counts(depot._store, "rework", by=by, values={"as_of": day})
        by_job = counts(depot._store, "rework_by_job", by=by, values={"as_of": day})
        wrong = defect_counts(depot._store, day, Scope(by))
        failed = counts(depot._store, "failures", by=coded, values={"as_of": day})
        labour = counts(depot._store, "booked_labour", values={"as_of": day})
    assert as_dict(again, len(by)) == whole(by_hand_work.rework(data, by, day), by, (0,) * 8)
    assert as_dict(by_job, len(by)) == whole(by_hand_work.rework_by_job(data, by, day), by, (0,) * 6)
    assert as_dict(wrong, len(by)) == whole(by_hand_work.defects(data, by, day), by, (0,) * 5)
    assert as_dict(failed, len(coded)) == by_hand_work.failures(data, coded, day)
    assert labour.row(0) == pytest.approx(by_hand_work.booked(data, day))


@SLOW
@given(data=worked(), as_of=as_ofs, by=groups(*NAMES))
def test_where_a_failed_check_sends_the_job(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    table, day = asked(data, "rework_routes", as_of, by=by)
    assert {row[:-1]: row[-1] for row in table.rows()} == by_hand_work.routes(data, by, day)


@SLOW
@given(data=worked(), as_of=as_ofs, by=groups("site", "shift", "shift_hour", "days_since_training"))
def test_shifts_and_trainings(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    values = {"rest": 6, "sites": list(ZONES), "zones": list(ZONES.values())}
    table, day = asked(data, "first_pass_steps_shifts", as_of, by=by, values=values)
    found = as_dict(by_group(table, by), len(by))
    assert found == whole(by_hand_work.shifts(data, by, day, ZONES, 6), by, (0, 0, 0, 0))


@SLOW
@given(data=worked(), as_of=as_ofs)
def test_practice(data: dict[str, Any], as_of: Any) -> None:
    table, day = asked(data, "practice", as_of, by=("technician", "procedure"))
    assert as_dict(table, 3) == by_hand_work.practice(data, day)
