"""The history of a unit against a row loop, and what of it names people."""

from datetime import date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.core.persons import PEOPLE
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.plots import plot
from rqa.plots.renderer import compiled
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures import by_hand
from tests.measures.small_depots import START, UNITS, maybe, tables, times

Row = dict[str, Any]
COLUMNS = ("job_id", "event", "day", "what", "outcome", "number", "place", "technician")
parts = st.lists(
    st.builds(
        lambda job, line, no, lot: completed("parts", {"job_id": f"J{job}", "line": line, "part_no": no, "lot": lot}),
        st.integers(0, 9), st.integers(0, 2), maybe(("DA-1", "DB-2")), maybe((None, "L1")),
    ),
    unique_by=lambda p: (p["job_id"], p["line"]), max_size=6,
)
retirements = st.lists(
    st.builds(lambda u, at: completed("retirements", {"unit_id": u, "retired_at": at}), maybe(UNITS), times()),
    unique_by=lambda r: r["unit_id"], max_size=2,
)


def by_rows(data: dict[str, list[Row]], unit: str, as_of: date) -> list[tuple[Any, ...]]:
    """The events of each job, those of equal place and time in order of what they say; then the unit's leaving."""
    classes = {
        back["job_id"]: (gap, kind, index["disposition"] == "repaired")
        for index, back, gap, kind in by_hand.links(data).values() if back
    }
    told: list[tuple[Any, ...]] = []
    jobs = [j for j in data["jobs"] if j["unit_id"] == unit and j["opened_on"] <= as_of]
    for j in sorted(jobs, key=lambda j: (j["opened_at"], j["job_id"])):
        events = [("opened", j["opened_on"], j["complaint"], j["procedure"], None, None, j["technician"])]
        if j["job_id"] in classes:
            gap, kind, repaired = classes[j["job_id"]]
            event = ("came back", j["opened_on"], kind) if repaired else ("came again", j["opened_on"], None)
            events.append((*event, None, gap, None, None))
        logged = []
        for s in data["steps"]:
            on = by_hand.step_day(s, j)
            by = s["technician"] or j["technician"]
            if s["job_id"] == j["job_id"] and on <= as_of and (s["outcome"] in ("fail", "skipped") or s["attempt"] > 1):
                logged.append((s["ended_at"], ("step", on, s["step"], s["outcome"], s["attempt"], s["bench"], by)))
        for d in data["diagnostics"]:
            if d["job_id"] == j["job_id"] and d["run_on"] <= as_of:
                event = ("test", d["run_on"], d["test"], d["outcome"], d["run"], d["station"], None)
                logged.append((d["run_at"], event))
        logged.sort(key=lambda e: (e[0] is not None, e[0], e[1][0], e[1][2], e[1][4], e[1][3]))
        events += [event for _, event in logged]
        fitted = [p for p in data["parts"] if p["job_id"] == j["job_id"]]
        for p in sorted(fitted, key=lambda p: (p["part_no"], p["lot"] is None, p["lot"])):
            events.append(("part", None, p["part_no"], p["lot"], None, None, None))
        if j["closed_on"] is not None and j["closed_on"] <= as_of:
            events.append(("closed", j["closed_on"], j["found"], j["disposition"], None, None, j["technician"]))
        told += [(j["job_id"], *event) for event in events]
    left = [r["retired_on"] for r in data["retirements"] if r["unit_id"] == unit and r["retired_on"] <= as_of]
    return told + [(None, "left service", on, None, None, None, None, None) for on in left]


@settings(
    max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=tables(), parts=parts, retirements=retirements, unit=maybe(UNITS), days=st.integers(-5, 130))
def test_a_history_holds_what_a_row_loop_finds(
    data: dict[str, Any], parts: list[Row], retirements: list[Row], unit: str, days: int
) -> None:
    data |= {"parts": parts, "retirements": retirements}
    as_of = START.date() + timedelta(days=days)
    with depot_of(data, as_of) as depot:
        table = counts(depot._store, "unit_history", values={"unit": unit, "as_of": as_of})
    assert table.select(COLUMNS).rows() == by_rows(data, unit, as_of)


REPAIRS: dict[str, list[Row]] = {
    "jobs": [
        {"job_id": "J1", "unit_id": "M8-1", "opened_at": datetime(2026, 1, 5, 9), "closed_at": datetime(2026, 1, 7, 9),
         "found": "board", "technician": "T07"},
        {"job_id": "J2", "unit_id": "M8-1", "opened_at": datetime(2026, 2, 3, 9), "disposition": "open"},
    ],
    "steps": [
        {"job_id": "J1", "step": "seat board", "outcome": "fail", "bench": "B3", "ended_at": datetime(2026, 1, 6, 9)},
        {"job_id": "J1", "step": "close case", "outcome": "pass", "step_seq": 2},
    ],
    "diagnostics": [{"job_id": "J1", "test": "charge", "run_at": datetime(2026, 1, 6, 12), "station": "S1"}],
}


def test_a_unit_is_read_as_a_load_reads_it_and_names_nobody_unasked() -> None:
    with depot_of(REPAIRS) as depot:
        told, named = depot.unit(" m8-1\n"), depot.unit("M8-1", people=True)
        before = depot.unit("M8-1").table.filter(pl.col("job_id") == "J2")
        with pytest.raises(RequestError, match="no job of a unit 'M8-2' was opened up to 2026-02-03"):
            depot.unit("M8-2")
        with pytest.raises(RequestError, match=r"unit_id is the unit's id as a text, .* not 81"):
            depot.unit(81)  # type: ignore[arg-type]  # what is no text is refused
    assert told.table["event"].to_list() == ["opened", "step", "test", "closed", "opened", "came back"]
    assert "technician" not in told.table.columns
    assert named.table["technician"].to_list() == ["T07", "T07", None, "T07", None, None]
    assert before.select("what", "number").row(1) == ("unknown", 27)
    assert PEOPLE in named.notes
    assert PEOPLE not in told.notes
    picture = plot(told)
    assert "J1 · board: repaired 2026-01-07, failed: seat board" in picture.description
    assert "J2 · board: came back after 27 days, unknown  ·  open" in picture.description
    assert compiled(picture.to_dict())


def test_a_unit_looked_at_earlier_has_no_later_events() -> None:
    with depot_of(REPAIRS, "2026-01-06") as depot:
        told = depot.unit("M8-1")
    assert told.table["event"].to_list() == ["opened", "step", "test"]
