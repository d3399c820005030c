"""Rework, failures, defects, shifts and practice on depots small enough to count in one's head."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.depot import open as open_depot
from rqa.errors import RequestError
from rqa.plots import plot
from tests.depots import depot_of, make_store
from tests.examples import examples

MONDAY = datetime(2026, 3, 2, 5, 30)
"""06:30 in Helsinki's winter is 04:30 in UTC."""


def step(job: str, place: int, minute: int, took: int, outcome: str = "pass", attempt: int = 1, **more: Any) -> Any:
    began = MONDAY + timedelta(minutes=minute)
    return {
        "job_id": job, "step_seq": place, "attempt": attempt, "step": f"step {place}", "outcome": outcome,
        "started_at": began, "ended_at": began + timedelta(minutes=took), "technician": "T01", **more,
    }


ROWS: dict[str, list[dict[str, Any]]] = {
    "jobs": [
        {"job_id": "J1", "unit_id": "U1", "opened_at": MONDAY, "closed_at": MONDAY + timedelta(hours=2),
         "labour_minutes": 60.0, "site": "Birch", "technician": "T01"},
        {"job_id": "J2", "unit_id": "U2", "opened_at": MONDAY, "closed_at": MONDAY + timedelta(hours=20),
         "site": "Birch", "technician": "T02"},
    ],
    "steps": [
        step("J1", 1, 0, 10),
        step("J1", 2, 10, 5, "fail", fault="F7"),
        step("J1", 1, 15, 6, attempt=2),
        step("J1", 2, 21, 5, "fail", attempt=2, fault="F7"),
        step("J1", 2, 26, 4, attempt=3),
        step("J1", 3, 30, 10, "fail"),
        step("J2", 1, 0, 10, technician="T02"),
        step("J2", 2, 900, 5, "fail", technician="T02", started_at=None, ended_at=None),
        step("J2", 3, 1000, 5, "done", technician="T02"),
    ],
    "procedures": [
        {"procedure": "board", "step_seq": 1, "step": "step 1", "opportunities": 4},
        {"procedure": "board", "step_seq": 2, "step": "step 2", "opportunities": 1},
    ],
    "actions": [
        {"action_id": "A1", "what": "course", "started_on": MONDAY.date(), "scope": "procedure=board; technician=T02"}
    ],
}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def test_rework(depot: Depot) -> None:
    """J1's step 1 took 6 minutes again, step 2 took 5 and 4: 15 minutes of 40 logged, on a job of 60 booked minutes."""
    r = depot.yields.rework()
    columns = (
        "executed", "reworked", "attempts", "attempts_per_step", "max_attempts", "later", "later_timed", "minutes",
        "labour_minutes",
    )
    assert r.table.select("step", *columns).rows() == [
        ("step 1", 2, 1, 3, 1.5, 2, 1, 1, 6.0, 9.0),
        ("step 2", 2, 1, 4, 2.0, 3, 2, 2, 9.0, 13.5),
        ("step 3", 2, 0, 2, 1.0, 1, 0, 0, None, None),
    ]
    said = "labour_minutes takes 1.50 booked minutes for each minute logged at steps, as on the 1 job that has both:"
    assert said in r.notes[1]
    assert depot.yields.rework(by=()).table["share"][0] == pytest.approx(2 / 6, abs=1e-6)


def test_checks_of_jobs_that_the_store_does_not_hold_count_and_are_told() -> None:
    """J1 is held; of J8 and J9 only the logs came: three checks of two jobs, one of them in March."""
    may = {"started_at": MONDAY + timedelta(days=70), "ended_at": MONDAY + timedelta(days=70, minutes=5)}
    rows = {
        "jobs": ROWS["jobs"][:1],
        "steps": [
            step("J1", 1, 0, 5), step("J8", 1, 0, 5), step("J9", 1, 0, 5) | may, step("J9", 2, 0, 5, "fail") | may,
        ],
    }
    with depot_of(rows) as depot:
        whole, march = depot.first_pass_yield(), depot.first_pass_yield(months="2026-03")
        one, held = depot.first_pass_yield(where={"step": "step 2"}), depot.first_pass_yield(where={"site": "Birch"})
    assert whole.table["exposures"].sum() == 4
    assert [n for n in whole.notes if "does not hold" in n] == [
        "3 first checks are of 2 jobs that the store does not hold (refused, or never sent): they count, and what the "
        "job would say of them is unknown."
    ]
    assert any(n.startswith("1 first check is of 1 job that") for n in march.notes)
    assert any(n.startswith("1 first check is of 1 job that") for n in one.notes)
    assert not any("does not hold" in n for n in held.notes)


def test_where_a_failed_check_sends_the_job(depot: Depot) -> None:
    r = depot.yields.rework_routes(by=())
    assert r.table.select("way", "to_step", "failures", "share").rows() == [
        ("again", "", 1, 0.25), ("back", "step 1", 1, 0.25), ("ended", "", 1, 0.25), ("unknown", "", 1, 0.25),
    ]
    assert "1 failed attempt has no time, so what came next is not known." in r.notes
    one = depot.yields.rework_routes(where={"step": "step 2"})
    assert one.table["share"].to_list() == pytest.approx([1 / 3] * 3, abs=1e-6)


def test_failures_make_a_pareto(depot: Depot) -> None:
    r = depot.yields.failures()
    assert r.table.select("step", "fault", "failures", "first", "share", "cumulative").rows() == [
        ("step 2", "F7", 2, 1, 0.5, 0.5), ("step 2", "unknown", 1, 1, 0.25, 0.75),
        ("step 3", "unknown", 1, 1, 0.25, 1.0),
    ]
    # Wilson 1927 for 3 of 4 at 95 %, from the closed form.
    z = 1.959963984540054
    half = z / (4 + z * z) * (4 * 0.75 * 0.25 + z * z / 4) ** 0.5
    assert r.table["cumulative_low"][1] == pytest.approx((3 + z * z / 2) / (4 + z * z) - half, abs=1e-6)
    assert r.table["cumulative_high"][2] == 1.0
    assert "2 of 4 failures carry a fault code." in r.notes


def test_defects(depot: Depot) -> None:
    """Step 1: 2 jobs, 4 chances each, none failed. Step 3 is declared by no procedure: one chance."""
    r = depot.yields.defects()
    columns = ("jobs", "exposures", "failed", "opportunities", "dpu", "dpmo")
    assert r.table.select("step", *columns).rows() == [
        ("step 1", 2, 2, 0, 8, 0.0, 0.0), ("step 2", 2, 2, 2, 2, 1.0, 1e6), ("step 3", 1, 1, 1, 1, 1.0, 1e6),
    ]
    assert r.table["sigma"].to_list() == [None, None, None]
    # Garwood: 0 seen has the upper limit -log(0.025) events, here over 8 chances.
    assert r.table["dpmo_high"][0] == pytest.approx(-np.log(0.025) / 8 * 1e6, rel=1e-6)
    assert any(note.startswith("1 first check is at steps") for note in r.notes)
    whole = depot.yields.defects(by="procedure")
    assert whole.table.select(columns).rows() == [(2, 5, 3, 11, 1.5, pytest.approx(3 / 11 * 1e6, abs=1e-5))]
    # P(Z > z) = 3/11 at z = 0.604585 (normal tables); the shift of 1.5 is added by custom.
    assert whole.table.select("sigma", "sigma_shifted").row(0) == pytest.approx((0.604585, 2.104585), abs=1e-6)
    assert any("a convention, not a finding" in note for note in whole.notes)


def test_shift_by_utc_without_a_mapping(depot: Depot) -> None:
    r = depot.first_pass_yield(by=("technician", "shift", "shift_hour"))
    assert r.table.select("technician", "shift", "shift_hour", "exposures", "unchecked").rows() == [
        ("T01", "early", "01", 3, 0), ("T02", "early", "01", 1, 0), ("T02", "night", "01", 0, 1),
        ("T02", "unknown", "unknown", 1, 0),
    ]
    told = [note for note in r.notes if "told by UTC" in note]
    assert len(told) == 1
    assert "is missing in sources.toml" in told[0]
    assert any(note.startswith("The logs hold no rota") for note in r.notes)


@pytest.mark.parametrize(("zone", "shift"), [("Europe/Helsinki", "early"), ("Asia/Tokyo", "late"), ("UTC", "early")])
def test_shift_by_the_sites_own_clock(tmp_path: Path, zone: str, shift: str) -> None:
    """05:30 in UTC is 07:30 in Helsinki and 14:30 in Tokyo."""
    make_store(tmp_path / "depot.duckdb", {**ROWS, "clocks": [{"site": "Birch", "zone": zone}]})
    with open_depot(tmp_path) as depot:
        r = depot.first_pass_yield(by="shift", where={"technician": "T01"})
    assert r.table["shift"].to_list() == [shift]
    assert f"The sites' clocks are those of {zone} (Birch)." in r.notes


def test_shift_by_the_zone_of_all_sites_that_have_none_of_their_own(tmp_path: Path) -> None:
    """05:30 in UTC is 14:30 in Tokyo; the mapping named no site."""
    clocks = [{"site": None, "zone": "Asia/Tokyo"}, {"site": "Elsewhere", "zone": "UTC"}]
    make_store(tmp_path / "depot.duckdb", {**ROWS, "clocks": clocks})
    with open_depot(tmp_path) as depot:
        r = depot.first_pass_yield(by="shift", where={"technician": "T01"})
    assert r.table["shift"].to_list() == ["late"]
    assert "The sites' clocks are those of Asia/Tokyo (Birch)." in r.notes


def test_days_since_training(depot: Depot) -> None:
    r = depot.first_pass_yield(by=("technician", "days_since_training"))
    assert r.table.select("technician", "days_since_training", "exposures").rows() == [
        ("T01", "no training", 3), ("T02", "0 to 30 days", 2),
    ]
    assert any("actions with a technician in their scope" in note for note in r.notes)


def test_shifts_and_tests_cannot_be_asked_together(depot: Depot) -> None:
    with pytest.raises(RequestError, match=r"shift \(step log\) and test \(diagnostics\)"):
        depot.first_pass_yield(by=("shift", "test"))


@pytest.mark.parametrize("ask", ["rework", "rework_routes", "failures", "defects", "learning"])
def test_nothing_to_count(ask: str) -> None:
    with depot_of({}) as empty:
        r: Answer = getattr(empty.yields, ask)()
        assert r.table.height == 0
        if ask != "learning":
            assert getattr(empty.yields, ask)(by=()).table.height <= 1


def practised(chances: dict[str, Any], jobs: int = 60, checks: int = 12, seed: int = 71) -> dict[str, Any]:
    """Technicians who each do a job a day, starting 100 days apart; a check passes with the chance of its number."""
    rng = np.random.default_rng(seed)
    made: dict[str, Any] = {"jobs": [], "steps": []}
    for late, (name, chance) in enumerate(chances.items()):
        for number in range(1, jobs + 1):
            day, job = MONDAY + timedelta(days=100 * late + number), f"{name}-{number:03d}"
            made["jobs"].append({"job_id": job, "unit_id": job, "opened_at": day, "closed_at": day, "technician": name})
            passed = rng.random(checks) < chance(number)
            made["steps"] += [
                {"job_id": job, "step_seq": i, "step": f"step {i}", "outcome": "pass" if ok else "fail"}
                for i, ok in enumerate(passed)
            ]
    return made


def test_learning_tells_who_learns_who_does_not_and_who_stays_behind() -> None:
    data = practised(
        {
            "T01": lambda k: 0.9,
            "T02": lambda k: 1 / (1 + np.exp(-0.2 - 0.7 * np.log(k))),
            "T03": lambda k: 0.9,
            "T04": lambda k: 0.72,
        }
    )
    with depot_of(data) as depot:
        r = depot.yields.learning()
        alone = depot.yields.learning(where={"technician": "T02"})
    rows = {row["technician"]: row for row in r.table.iter_rows(named=True)}
    assert rows["T02"]["verdict"] == "rises with practice"
    # The true factor for each doubling is 2^0.7 = 1.62, and the true yield is 0.9 after exp((2.197 - 0.2) / 0.7) = 17.
    assert rows["T02"]["low"] < 2**0.7 < rows["T02"]["high"]
    assert rows["T02"]["needed_low"] <= rows["T02"]["needed"] < 40
    assert [rows[t]["verdict"] for t in ("T01", "T03", "T04")] == ["no change to be seen"] * 3
    assert {t: row["suggestion"] for t, row in rows.items() if row["suggestion"]} == {
        "T04": "re-training may help; watch the work first"
    }
    assert [row["new"] for row in rows.values()] == [False, True, True, True]
    assert rows["T01"]["jobs"] == 60
    assert r.practice is not None
    assert r.practice["exposures"].sum() == r.table["exposures"].sum() == 4 * 60 * 12
    assert alone.table.rows() == r.table.filter(pl.col("technician") == "T02").rows()


def test_perfect_and_zero_yields_have_no_curve_and_are_told() -> None:
    with depot_of(practised({"T01": lambda k: 1.0, "T02": lambda k: 0.0}, jobs=12)) as depot:
        r = depot.yields.learning()
        picture = plot(r).to_dict()
    assert r.table.select("yield", "now", "verdict", "doubling", "suggestion").rows() == [
        (1.0, 1.0, "always passed first time (144 of 144)", None, ""),
        (0.0, 0.0, "never passed first time (0 of 144)", None,
         "re-training may help; first see that passes are logged at all, then watch the work"),
    ]
    # Wilson (1927): z² / (n + z²) = 3.841459 / 147.841459.
    assert r.table["now_low"][0] == pytest.approx(1 - 0.025984, abs=1e-6)
    assert r.table["now_high"][1] == pytest.approx(0.025984, abs=1e-6)
    assert "always passed first time (144 of 144)" in str(picture)


def test_the_worst_is_not_passed_over() -> None:
    """One never passes, one passes 80 in 100, the others 95: whoever is told of, the worst is."""
    data = practised({"T01": lambda k: 0.0, "T02": lambda k: 0.8, "T03": lambda k: 0.95, "T04": lambda k: 0.95})
    with depot_of(data) as depot:
        table = depot.yields.learning().table
    suggested = set(table.filter(pl.col("suggestion") != "")["technician"])
    assert suggested >= {"T01"}
    told = table.filter(pl.col("verdict") != "too little work to say").sort("now")
    assert told["technician"][0] in suggested


def test_who_alone_does_a_step_is_set_beside_nobody_and_it_says_so() -> None:
    data = practised({"T01": lambda k: 0.0, "T02": lambda k: 0.95})
    for step in data["steps"]:
        if step["job_id"].startswith("T01"):
            step["step"] = f"only {step['step']}"
    with depot_of(data) as depot:
        row = depot.yields.learning().table.row(0, named=True)
    assert row["verdict"] == "never passed first time (0 of 720)"
    assert row["suggestion"] == "below the depot, but nobody else does the same steps: look at the steps first"


def test_failures_that_all_come_first_rise_and_those_that_come_last_fall() -> None:
    """No finite curve fits, and the direction is told all the same."""
    data = practised({"T01": lambda k: float(k > 20), "T02": lambda k: float(k <= 20)}, jobs=40)
    with depot_of(data) as depot:
        r = depot.yields.learning()
    assert r.table["verdict"].to_list() == ["rises with practice", "falls with practice"]
    assert r.table["doubling"].to_list() == [None, None]
    assert plot(r).to_dict()["description"]


@given(
    work=st.lists(
        st.tuples(st.integers(1, 14), st.integers(1, 14), st.sampled_from((0.0, 0.04, 0.5, 0.96, 1.0))),
        min_size=1, max_size=3,
    ),
    least=st.sampled_from((1, 50, 100)),
)
@settings(max_examples=examples(25), deadline=None)
def test_too_little_work_is_said_below_the_least_number_of_checks_alone(
    work: list[tuple[int, int, float]], least: int
) -> None:
    made: dict[str, Any] = {"jobs": [], "steps": []}
    for number, (jobs, checks, share) in enumerate(work):
        one = practised({f"T{number}": lambda k, share=share: share}, jobs=jobs, checks=checks, seed=number)
        made = {name: rows + one[name] for name, rows in made.items()}
    with depot_of(made) as depot:
        r = depot.yields.learning(min_cases=least)
    for row in r.table.iter_rows(named=True):
        assert (row["verdict"] == "too little work to say") == (row["exposures"] < least)
        assert (row["now"] is None) == (row["exposures"] < least)
        if row["exposures"] >= least:
            assert ("never" in row["verdict"]) == (row["passed"] == 0)
            assert ("always" in row["verdict"]) == (row["passed"] == row["exposures"])
    assert plot(r).to_dict()["description"]


def test_one_technician_only_has_a_curve_and_no_depot_to_reach() -> None:
    with depot_of(practised({"T01": lambda k: 0.8})) as depot:
        (row,) = depot.yields.learning().table.iter_rows(named=True)
    assert (row["depot"], row["needed"], row["suggestion"]) == (None, None, "")
    assert row["verdict"] == "no change to be seen"


def test_learning_takes_no_other_filters(depot: Depot) -> None:
    with pytest.raises(RequestError, match="no filter 'site'"):
        depot.yields.learning(where={"site": "Birch"})
    with pytest.raises(RequestError, match="min_cases"):
        depot.yields.learning(min_cases=0)
