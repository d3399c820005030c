"""Outcomes, retest passes, escapes, coverage and releases: a depot counted in one's head, and the edges."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest

from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.stats import exact_common_odds, fault_sensitivity, mantel_haenszel, proportion_interval, proportion_test
from tests.cases import some_slow
from tests.depots import depot_of
from tests.odd_depots.questions import asked_of

DAY = datetime(2026, 1, 1)


def at(day: int, hour: float = 0) -> datetime:
    return DAY + timedelta(days=day, hours=hour)


def job(number: int, unit: str, opened: int, closed: int, **more: Any) -> dict[str, Any]:
    return {"job_id": f"J{number}", "unit_id": unit, "opened_at": at(opened), "closed_at": at(closed, 20), **more}


def run(number: int, test: str, hour: float, day: int, outcome: str = "pass", **more: Any) -> dict[str, Any]:
    return {
        "job_id": f"J{number}", "test": test, "run_at": at(day, hour), "outcome": outcome, "station": "S1", **more,
    }


def step(number: int, hour: float, day: int, **more: Any) -> dict[str, Any]:
    return {"job_id": f"J{number}", "step": "seat board", "ended_at": at(day, hour), **more}


# J1: charge fails, the board is seated again, charge passes; comes back after 10 days with the board at fault.
# J2: charge fails at S1 and passes at S2 with nothing done; never comes back.
# J3: touch is aborted, then passes; comes back after 5 days with the display at fault, which touch covers.
# J4: released with a failed touch. J5: comes back after 3 days, nothing found. J6: not matured.
# J7 comes back with the case at fault, which no test covers. J8 had no diagnostics and comes back with the board.
ROWS: dict[str, list[dict[str, Any]]] = {
    "jobs": [
        job(1, "U1", 0, 1), job(2, "U2", 0, 1, model="Quern"), job(3, "U3", 0, 1), job(4, "U4", 0, 1),
        job(5, "U5", 0, 1), job(6, "U6", 100, 118), job(7, "U7", 0, 1), job(8, "U8", 0, 1),
        job(11, "U1", 11, 12, found="board", disposition="returned_unrepaired"),
        job(13, "U3", 6, 7, found="display", disposition="returned_unrepaired"),
        job(15, "U5", 4, 5, disposition="no_fault_found"),
        job(17, "U7", 30, 31, found="case", disposition="not_economic"),
        job(18, "U8", 30, 31, found="board", disposition="not_economic"),
    ],
    "steps": [step(1, 9, 1), step(1, 11, 1, attempt=2), step(2, 9, 1)],
    "diagnostics": [
        run(1, "charge", 10, 1, "fail"), run(1, "charge", 12, 1, run=2), run(1, "touch", 12, 1),
        run(2, "charge", 10, 1, "fail"), run(2, "charge", 12, 1, run=2, station="S2"), run(2, "touch", 12, 1),
        run(3, "charge", 10, 1), run(3, "touch", 10, 1, "aborted"), run(3, "touch", 11, 1, run=2),
        run(4, "charge", 10, 1), run(4, "touch", 10, 1, "fail"),
        run(5, "charge", 10, 1), run(5, "touch", 10, 1),
        run(6, "charge", 10, 118), run(6, "touch", 10, 118),
        run(7, "charge", 10, 1), run(7, "touch", 10, 1),
    ],
    "procedures": [{"procedure": "board", "step_seq": 1, "step": "seat board", "subsystems": ["board"]}],
    "tests": [{"test": "charge", "subsystem": "board"}, {"test": "touch", "subsystem": "display"}],
}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS, at(120)) as opened:
        yield opened


def test_outcomes(depot: Depot) -> None:
    table = depot.tests.outcomes().table
    shown = ("test", "jobs", "tests", "first_judged", "first_passed", "final_passed", "aborted", "runs")
    assert table.select(shown).rows() == [("charge", 7, 7, 7, 5, 7, 0, 9), ("touch", 7, 7, 6, 5, 6, 1, 8)]
    wilson = proportion_interval(successes=[5, 5], trials=[7, 6])
    assert table["low"].to_list() == pytest.approx(wilson.low.tolist(), abs=1e-6)
    last = proportion_interval(successes=6, trials=7)
    assert table.row(1, named=True)["final_high"] == pytest.approx(float(last.high), abs=1e-6)
    assert depot.tests.outcomes(by=()).table.select("jobs", "tests", "runs", "runs_per_job").row(0) == (
        7, 14, 17, pytest.approx(17 / 7, abs=1e-6),
    )
    stations = depot.tests.outcomes(by="station").table
    assert stations.select("station", "tests", "runs").rows() == [("S1", 14, 17)]


def test_first_runs_are_those_of_the_yield(depot: Depot) -> None:
    ours, theirs = depot.tests.outcomes().table, depot.first_pass_yield(by="test").table
    assert (
        ours.select("first_judged", "first_passed", "low", "high").rows()
        == theirs.select("exposures", "passed", "low", "high").rows()
    )


def test_retest_passes_need_that_nothing_was_done(depot: Depot) -> None:
    shown = ("test", "fails", "retest_passes", "after_work", "failed_again", "not_rerun", "untimed", "elsewhere")
    assert depot.tests.retests().table.select(shown).rows() == [
        ("charge", 2, 1, 1, 0, 0, 0, 1), ("touch", 1, 0, 0, 0, 1, 0, 0),
    ]
    by_station = depot.tests.retests(by=("test", "station")).table
    assert by_station.select("test", "station", "runs", "fails").rows() == [
        ("charge", "S1", 8, 2), ("charge", "S2", 1, 0), ("touch", "S1", 7, 1),
    ]
    assert by_station["share"].to_list() == [0.5, None, 0.0]
    assert depot.tests.retests(by=()).table.select("runs", "fails", "retest_passes").rows() == [(16, 3, 1)]
    assert depot.tests.retests(by=("station", "test")).table["runs"].to_list() == [8, 7, 1]
    assert depot.tests.retests(by="site").table["runs"].to_list() == [16]


def test_before_the_second_run_nothing_was_rerun() -> None:
    seen = {**ROWS, "diagnostics": [
        run(1, "charge", 10, 1, "fail"), run(1, "charge", 12, 3, run=2),
    ]}
    with depot_of(seen, at(2)) as depot:
        assert depot.tests.retests().table.select("runs", "fails", "not_rerun", "retest_passes").rows() == [
            (1, 1, 1, 0)
        ]


def test_escapes_and_sensitivity(depot: Depot) -> None:
    table = depot.tests.escapes(window=90).table
    shown = ("test", "tested", "passed", "caught", "escaped", "doubtful", "unverified", "open")
    # All of J4's tests are not passed, as one of them failed in the end; J6 is open.
    assert table.select(shown).rows() == [("charge", 6, 5, 1, 1, 1, 1, 1), ("touch", 6, 5, 0, 1, 1, 1, 1)]
    assert table.select("first_quarter", "median_day", "third_quarter").rows() == [(10, 10, 10), (5, 5, 5)]
    charge = table.row(0, named=True)
    known = fault_sensitivity(caught=1, escaped=1, caught_unverified=1, escaped_unverified=1)
    assert (charge["sensitivity"], charge["low"]) == pytest.approx((0.5, float(known.low)), abs=1e-6)
    share = proportion_interval(successes=1, trials=5)
    assert charge["escape_share"] == 0.2
    assert charge["escape_high"] == pytest.approx(float(share.high), abs=1e-6)
    # Two of five matured passes escaped or may have: at most 85 of 100 by Clopper and Pearson, so 1 of the 1 open.
    assert charge["may_escape"] == 1
    assert charge["lower_bound"] == pytest.approx(1 / 4, abs=1e-6)
    assert charge["upper_bound"] == pytest.approx(2 / 3, abs=1e-6)
    assert depot.tests.escapes(by="subsystem", window=90).table.select("subsystem", "escaped", "caught").rows() == [
        ("board", 1, 1), ("display", 1, 0),
    ]
    assert depot.tests.escapes(by=(), window=90).table.select("tested", "escaped", "caught").rows() == [(6, 2, 1)]


def test_escapes_are_those_of_the_marks(depot: Depot) -> None:
    marks = depot.returns.marks(window=90).table
    assert marks.filter(marks["mark"] == "had passed its tests")["marked"].to_list() == [
        int(depot.tests.escapes(by=(), window=90).table["escaped"].sum())
    ]


def test_the_coverage_gap(depot: Depot) -> None:
    answer = depot.tests.coverage_gap(window=90)
    assert answer.table.select("subsystem", "returned", "uncovered", "not_run", "not_passed", "escaped").rows() == [
        ("case", 1, 1, 0, 0, 0), ("board", 2, 0, 1, 0, 1), ("display", 1, 0, 0, 0, 1),
    ]
    assert answer.whole is not None
    assert answer.whole.select("returned", "uncovered", "not_known", "share").rows() == [(4, 1, 1, 0.25)]
    assert answer.table["share"].to_list() == [0.25, 0.0, 0.0]
    with pytest.raises(RequestError, match="it is no filter"):
        depot.tests.coverage_gap(where={"subsystem": "case"}, window=90)


def test_the_gap_has_its_price() -> None:
    cost = {"labour_minutes": 0.0, "parts_cost": 40.0, "freight_cost": 2.5}
    rows = {**ROWS, "jobs": [{**j, **cost} for j in ROWS["jobs"]]}
    with depot_of(rows, at(120)) as depot:
        whole = depot.tests.coverage_gap(window=90)
        quern = depot.tests.coverage_gap(where={"model": "Quern"}, window=90)
        assert whole.table.select("subsystem", "mean_cost", "cost").rows() == [
            ("case", 42.5, 42.5), ("board", 42.5, 0.0), ("display", 42.5, 0.0),
        ]
        assert whole.notes[-1].startswith("mean_cost is that of all come-backs with this found")
        assert quern.notes[-1].startswith("mean_cost is that of all come-backs that the filters leave")


def test_what_a_fail_and_a_pass_are_worth(depot: Depot) -> None:
    table = depot.tests.predictive_values(window=90).table
    shown = ("test", "fails", "confirmed", "nothing_found", "undecided", "overkill", "passes", "escaped", "pass_value")
    # J1's fail was worked on, J2's was not; J4's touch never passed.
    assert table.select(shown).rows() == [
        ("charge", 2, 1, 1, 0, 0.5, 5, 1, 0.8), ("touch", 1, 0, 0, 1, None, 5, 1, 0.8),
    ]


def test_at_the_same_minute() -> None:
    """Work that ends with the failed run came before it; work that begins with the next one lies in between."""
    one = {"jobs": [job(1, "U1", 0, 1)], "diagnostics": [
        run(1, "charge", 10, 1, "fail"), run(1, "charge", 12, 1, run=2),
    ]}
    for work, passes, early in (
        (step(1, 10, 1), 1, 0), (step(1, 13, 1, started_at=at(1, 12)), 0, 1), (step(1, 12, 1), 0, 0),
        (step(1, 14, 1, started_at=at(1, 12.5)), 1, 1),
    ):
        with depot_of({**one, "steps": [work]}, at(120)) as depot:
            assert depot.tests.retests().table["retest_passes"].to_list() == [passes]
            table = depot.tests.releases(window=90).table
            assert table.filter(table["check"] == "early")["flagged"].to_list() == [early]


def test_a_pass_before_the_last_run_is_no_pass_in_the_end() -> None:
    """Passed, passed, failed: released with a failed test, and no escape when it comes back."""
    rows = {**ROWS, "jobs": [j for j in ROWS["jobs"] if j["unit_id"] == "U3"], "steps": [], "diagnostics": [
        run(3, "touch", 10, 1), run(3, "touch", 11, 1, run=2), run(3, "touch", 12, 1, "fail", run=3),
    ]}
    with depot_of(rows, at(120)) as depot:
        found = depot.tests.escapes(window=90).table
        assert found.select("tested", "passed", "escaped", "doubtful").rows() == [(1, 0, 0, 0)]
        gap = depot.tests.coverage_gap(window=90).table
        assert gap.select("subsystem", "not_passed", "escaped").rows() == [("display", 1, 0)]
        table = depot.tests.releases(window=90).table
        assert table.filter(table["check"] == "failed")["flagged"].to_list() == [1]


def test_a_test_is_missed_only_from_its_first_job_to_its_last() -> None:
    """Touch was brought in on day 30: of 20 jobs from then to day 50 one lacks it; the 40 earlier ones need none."""
    rows: dict[str, list[dict[str, Any]]] = {"jobs": [], "diagnostics": []}
    for number in range(60):
        day = 10 if number < 40 else 30 + (number - 40)
        rows["jobs"].append(job(number, f"U{number}", day, day))
        rows["diagnostics"].append(run(number, "charge", 10, day))
        if number >= 40 and number != 50:
            rows["diagnostics"].append(run(number, "touch", 11, day))
    with depot_of(rows, at(120)) as depot:
        assert depot.tests.releases(window=90).table.row(0)[:3] == ("missing", 60, 1)
        assert depot.tests.release_faults(window=90).table["job_id"].to_list() == ["J50"]
        assert depot.tests.releases(usual=1.0, window=90).table.row(0)[:3] == ("missing", 60, 0)


def many(flagged: int, of_these: int, others: int, of_those: int) -> dict[str, list[dict[str, Any]]]:
    """Jobs with and without the test that all of their kind have, so many of which come back."""
    made: dict[str, list[dict[str, Any]]] = {"jobs": [], "diagnostics": []}
    for number in range(flagged + others):
        lacks = number < flagged
        back = number < of_these if lacks else number - flagged < of_those
        made["jobs"].append(job(number, f"U{number}", 0, 1))
        if back:
            made["jobs"].append(job(10_000 + number, f"U{number}", 3, 4, disposition="no_fault_found"))
        made["diagnostics"].append(run(number, "charge", 10, 1))
        if not lacks:
            made["diagnostics"].append(run(number, "touch", 10, 1))
    return made


def test_released_with_a_test_missing() -> None:
    with depot_of(many(25, 10, 200, 8), at(120)) as depot:
        answer = depot.tests.releases(window=90)
        listed = depot.tests.release_faults(window=90)
    missing = answer.table.row(0, named=True)
    shown = ("check", "jobs", "flagged", "matured", "returned", "other_matured", "other_returned")
    assert [missing[k] for k in shown] == ["missing", 225, 25, 25, 10, 200, 8]
    ratio = mantel_haenszel([[[10, 15], [8, 192]]], measure="risk")
    assert missing["ratio"] == pytest.approx(10.0, abs=1e-6)
    assert missing["ratio_low"] == pytest.approx(float(ratio.low), abs=1e-6)
    assert missing["p_value"] == pytest.approx(exact_common_odds([[[10, 15], [8, 192]]]).p_value, rel=1e-5)
    assert [f.scope for f in answer.findings] == [{}]
    assert answer.findings[0].avoided == pytest.approx(9.0)
    assert listed.table.height == 25
    assert ["refused at load" in " ".join(a.notes) for a in (answer, listed)] == [True, True]
    assert set(listed.table.select("check", "test").rows()) == {("missing", "touch")}
    assert "run_at and worked_until are in UTC." in listed.notes
    assert int(listed.table["returned"].sum()) == 10


def test_a_refused_run_is_no_missing_test() -> None:
    """Of 5 jobs without touch, the load refused a run of 2: nobody knows whether theirs was made."""
    refused = [{"table_name": "diagnostics", "job_id": f"J{number}"} for number in (0, 1)]
    refused += [{"table_name": "steps", "job_id": "J2"}, {"table_name": "diagnostics", "job_id": None}]
    with depot_of({**many(5, 0, 200, 0), "refused": refused}, at(120)) as depot:
        answers = (depot.tests.releases(window=90), depot.tests.release_faults(window=90))
        elsewhere = depot.tests.releases(where={"technician": "nobody"}, window=90)
    assert answers[0].table.select("check", "jobs", "flagged").row(0) == ("missing", 203, 3)
    assert sorted(answers[1].table["job_id"]) == ["J2", "J3", "J4"]
    for answer in answers:
        (note,) = (n for n in answer.notes if "cannot be told" in n)
        assert note.startswith("2 jobs of which the load refused a diagnostic run")
    assert not any("refused a diagnostic run" in n for n in elsewhere.notes)


def test_a_flaky_test_is_stated() -> None:
    """40 fails of touch all pass again at once; of 40 fails of charge, 10 do and 30 pass after work."""
    rows: dict[str, list[dict[str, Any]]] = {"jobs": [], "steps": [], "diagnostics": []}
    for number in range(80):
        test = "touch" if number < 40 else "charge"
        rows["jobs"].append(job(number, f"U{number}", 0, 1))
        rows["diagnostics"] += [run(number, test, 10, 1, "fail"), run(number, test, 12, 1, run=2)]
        rows["steps"].append(step(number, 11 if number >= 50 else 9, 1))
    with depot_of(rows, at(120)) as depot:
        answer = depot.tests.retests()
    stated = [f for f in answer.stated if f.kind == "retest passes by test"]
    assert [(dict(f.scope), f.worse) for f in stated] == [({"test": "charge"}, False), ({"test": "touch"}, True)]
    p = proportion_test(successes1=40, trials1=40, successes2=10, trials2=40)
    assert [f.p_value for f in stated] == pytest.approx([float(p.p_value)] * 2)
    assert answer.findings == tuple(f for f in stated if f.worse)


ALL_PASS = {"jobs": [job(1, "U1", 0, 1)], "diagnostics": [run(1, "charge", 10, 1)]}
EDGES: dict[str, dict[str, list[dict[str, Any]]]] = {
    "no jobs": {},
    "no diagnostics": {"jobs": ROWS["jobs"], "tests": ROWS["tests"]},
    "one test, one station, all pass": {**ALL_PASS, "tests": ROWS["tests"]},
    "all fail": {**ALL_PASS, "diagnostics": [run(1, "charge", 10, 1, "fail")], "tests": ROWS["tests"]},
    "all aborted": {"jobs": [job(1, "U1", 0, 1)], "diagnostics": [run(1, "charge", 10, 1, "aborted")]},
    "no reference": ALL_PASS,
    "runs of jobs that are not there": {"diagnostics": [run(9, "charge", 10, 1)], "tests": ROWS["tests"]},
}


QUESTIONS = (
    "tests.outcomes",
    "tests.retests",
    "tests.escapes",
    "tests.coverage_gap",
    "tests.predictive_values",
    "tests.releases",
    "tests.release_faults",
)
SHARES = (
    ("first_pass_share", "first_judged"), ("escape_share", "passed"), ("final_pass_share", "tests"),
    ("pass_value", "passes"), ("share", "judged"),
)


@pytest.mark.parametrize("name", some_slow(EDGES, 2))
def test_edges_give_no_data_never_a_share_of_nothing(name: str) -> None:
    told = []
    with depot_of(EDGES[name], at(120)) as depot:
        for question in QUESTIONS:
            ways: list[dict[str, Any]] = [{}]
            ways += [{"by": ()}, {"by": ("month", "model")}] * (question != "tests.release_faults")
            told += [asked_of(depot, question)(**asked).table for asked in ways]
    for table in told:
        for share, cases in SHARES:
            if share in table.columns and cases in table.columns:
                assert table.filter(table[cases] == 0)[share].null_count() == (table[cases] == 0).sum()
        if "sensitivity" in table.columns:
            empty = table.filter(table["caught"] + table["escaped"] == 0)
            assert empty["sensitivity"].null_count() == empty.height


def test_all_aborted_did_not_pass() -> None:
    with depot_of(EDGES["all aborted"], at(120)) as depot:
        row = depot.tests.outcomes().table.row(0, named=True)
        assert (row["first_judged"], row["first_pass_share"], row["final_pass_share"]) == (0, None, 0.0)
        assert depot.tests.releases().table.filter(depot.tests.releases().table["check"] == "aborted")[
            "flagged"
        ].to_list() == [1]
        assert "names no test that was run" in depot.tests.escapes(window=90).notes[-1]
        assert "what a pass is worth cannot be told" in depot.tests.predictive_values(window=90).notes[-1]
        assert "names no test that was run" in depot.tests.coverage_gap().notes[-2]


def test_questions_that_make_no_sense(depot: Depot) -> None:
    with pytest.raises(RequestError, match="usual is a share"):
        depot.tests.releases(usual=0)
    with pytest.raises(RequestError, match="limit is a whole number of rows"):
        depot.tests.release_faults(limit=0)
    with pytest.raises(RequestError, match="There is: month, week"):
        depot.tests.retests(by="bench")
    with pytest.raises(RequestError, match="no test 'Charge'"):
        depot.tests.escapes(where={"test": "Charge"})


def test_people_come_with_a_caution(depot: Depot) -> None:
    said = [depot.tests.outcomes(by="technician"), depot.tests.retests(by="technician"),
            depot.tests.escapes(by="technician"), depot.tests.predictive_values(by="technician"),
            depot.tests.releases(by="technician"),
            depot.tests.coverage_gap(by="technician"), depot.tests.readings(by=("test", "technician"))]
    assert ["for coaching" in " ".join(answer.notes) for answer in said] == [True] * 7
    one = {"technician": "T1"}
    said = [depot.tests.release_faults(where=one), depot.tests.limits(where=one), depot.tests.drift(where=one),
            depot.tests.coverage_gap(where=one), depot.tests.readings(where=one)]
    assert ["for coaching" in " ".join(answer.notes) for answer in said] == [True] * 5
