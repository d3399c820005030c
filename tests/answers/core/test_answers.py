"""The answers on a depot small enough to count in one's head."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import polars as pl
import pytest

import rqa
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.depots import depot_of
from tests.measures.depot_rows import ROWS, at


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def rows(table: pl.DataFrame, *columns: str) -> list[tuple[object, ...]]:
    return table.select(columns).rows()


def test_comebacks_as_a_whole(depot: Depot) -> None:
    """Index jobs J1, J2, J3, J5, J9 (J7 and J8 overlap); as of 06-20, when a unit retired, J9 has not matured;
    J1, J3, J5 came back."""
    assert depot.as_of.date() == date(2026, 6, 20)
    r = depot.comebacks()
    assert rows(r.table, "jobs", "matured", "returned", "rate") == [(5, 4, 3, 0.75)]
    # Wilson 1927 for 3 of 4 at 95 %: centre (3 + z²/2)/(4 + z²), worked out from the formula.
    z = 1.959963984540054
    centre, half = (3 + z * z / 2) / (4 + z * z), z / (4 + z * z) * (4 * 0.75 * 0.25 + z * z / 4) ** 0.5
    assert r.table["low"][0] == pytest.approx(centre - half, abs=1e-6)
    assert r.table["high"][0] == pytest.approx(centre + half, abs=1e-6)
    assert r.settings["window"] == 30
    assert r.settings["by"] == ()
    assert "1 job closed less than 30 days" in r.notes[0]
    assert "2 jobs on 1 unit of" in r.notes[1]


def test_comebacks_by_class(depot: Depot) -> None:
    """J2 found display where J1's complaint was display: repeat. J4 found display where J3's open case had touched it:
    workmanship. J6 is open and found nothing yet: unknown."""
    r = depot.comebacks(by="class")
    assert rows(r.table, "class", "matured", "returned") == [
        ("new_fault", 4, 0), ("no_fault_found", 4, 0), ("repeat", 4, 1), ("unknown", 4, 1), ("workmanship", 4, 1),
    ]
    one = depot.comebacks(where={"class": ["repeat", "unknown"]})
    assert rows(one.table, "matured", "returned") == [(4, 2)]


def test_comebacks_by_month_site_and_step(depot: Depot) -> None:
    r = depot.comebacks(by=("month", "site"), months=("2026-01", date(2026, 2, 14)))
    assert rows(r.table, "month", "site", "matured", "returned") == [
        (date(2026, 1, 1), "Alder", 2, 1),
        (date(2026, 1, 1), "Birch", 1, 1),
        (date(2026, 2, 1), "Alder", 1, 1),
    ]
    r = depot.comebacks(by="step", where={"site": "Alder"})
    assert rows(r.table, "step", "jobs", "matured", "returned") == [
        ("fit screen", 1, 0, 0), ("open case", 3, 2, 2), ("seat board", 1, 1, 1),
    ]
    assert r.table["rate"].to_list() == [None, 1.0, 1.0]
    assert "do not add up" in " ".join(r.notes)


def test_window_and_as_of() -> None:
    """J1 was back after 10 days, J3 after 8, J5 after 2; on 01-20 J1 has been out 10 days and J3 8."""
    with depot_of(ROWS, as_of="2026-01-20") as depot:
        assert rows(depot.comebacks(window=8).table, "jobs", "matured", "returned") == [(2, 2, 1)]
        assert rows(depot.comebacks(window=10).table, "jobs", "matured", "returned") == [(2, 1, 1)]
        assert rows(depot.first_pass_yield(by=()).table, "exposures", "passed") == [(4, 3)]
        assert rows(depot.yields.clean().table, "jobs", "clean") == [(3, 1)]
    with depot_of(ROWS, as_of=at("12-31")) as depot:
        assert "could not be seen" in depot.comebacks().notes[0]
        assert rows(depot.comebacks().table, "matured") == [(5,)]


def test_no_fault_found_is_apart(depot: Depot) -> None:
    r = depot.comebacks(index_disposition="no_fault_found")
    assert rows(r.table, "jobs", "matured", "returned") == [(1, 1, 0)]
    assert "not that of repairs" in " ".join(r.notes)


def test_first_pass_yield(depot: Depot) -> None:
    r = depot.first_pass_yield()
    assert rows(r.table, "step", "exposures", "passed", "failed", "unchecked", "yield") == [
        ("fit screen", 1, 1, 0, 0, 1.0), ("open case", 4, 4, 0, 1, 1.0), ("seat board", 1, 0, 1, 1, 0.0),
    ]
    assert r.settings["of"] == "steps"
    r = depot.first_pass_yield(by=("month", "technician"))
    assert rows(r.table, "month", "technician", "exposures", "unchecked") == [
        (date(2026, 1, 1), "T01", 2, 1), (date(2026, 1, 1), "T02", 1, 0), (date(2026, 2, 1), "unknown", 0, 1),
        (date(2026, 6, 1), "T01", 2, 0),
    ]
    assert "1 first attempt has no date" in r.notes[0]
    assert r.table["yield"][2] is None


def test_first_pass_of_diagnostics(depot: Depot) -> None:
    r = depot.first_pass_yield(by=("test", "station"))
    assert r.settings["of"] == "diagnostics"
    assert rows(r.table, "test", "station", "exposures", "passed", "unchecked") == [
        ("charge", "S1", 1, 1, 0), ("charge", "S2", 1, 0, 0), ("touch", "unknown", 0, 0, 1),
    ]


def test_clean_jobs(depot: Depot) -> None:
    """J1 failed a check, J3 a diagnostic, J9's first run was aborted; J99 is known from its log alone."""
    assert rows(depot.yields.clean().table, "jobs", "clean", "share") == [(4, 1, 0.25)]
    r = depot.yields.clean(by="month")
    assert rows(r.table, "month", "jobs", "clean") == [(date(2026, 1, 1), 2, 0), (date(2026, 6, 1), 1, 0)]
    assert "1 job is known from its log alone" in r.notes[0]


def test_rolled_yield(depot: Depot) -> None:
    """`fit screen` is no step that its procedure names, and J99 is not in the store: neither enters a product."""
    r = depot.yields.rolled()
    assert rows(r.table, "procedure", "steps", "yield", "normalised_yield") == [
        ("board", 2, 0.0, 0.0), ("screen", 1, 1.0, 1.0),
    ]
    assert "2 checked first attempts were at steps" in " ".join(r.notes)
    one = depot.yields.rolled(by=("site",), where={"procedure": "screen"})
    assert rows(one.table, "site", "steps", "yield") == [("Alder", 1, 1.0)]
    with pytest.raises(RequestError, match="put procedure into by="):
        depot.yields.rolled(by=("site",))


def test_rolled_yield_is_the_product() -> None:
    """9 of 10 and 8 of 10: 0.72, its square root 0.848528."""
    steps = [
        {"job_id": f"J{n}", "step_seq": s, "step": f"s{s}", "outcome": "pass" if n >= s else "fail"}
        for n in range(10)
        for s in (1, 2)
    ]
    jobs = [{"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": at("01-01"), "closed_at": at("01-02")}
            for n in range(10)]
    with depot_of({"jobs": jobs, "steps": steps}) as depot:
        row = depot.yields.rolled().table.row(0, named=True)
    assert (row["steps"], row["yield"], row["normalised_yield"]) == (2, 0.72, 0.848528)
    assert row["low"] < 0.72 < row["high"]
    # The root's limits are the roots of the product's: the same statement on another scale.
    assert [row["normalised_low"], row["normalised_high"]] == pytest.approx(
        [row["low"] ** 0.5, row["high"] ** 0.5], abs=1e-6
    )


def test_rolled_yield_of_procedures_that_are_not_declared() -> None:
    """With none declared every step counts; once one is, a procedure without declared steps has no row."""
    jobs = [{"job_id": j, "unit_id": j, "procedure": p, "opened_at": at("01-01"), "closed_at": at("01-02")}
            for j, p in (("J1", "board"), ("J2", "screen"))]
    steps = [{"job_id": j, "step": "fit"} for j in ("J1", "J2")]
    with depot_of({"jobs": jobs, "steps": steps}) as depot:
        assert depot.yields.rolled().table["procedure"].to_list() == ["board", "screen"]
    declared = [{"procedure": "board", "step_seq": 1, "step": "fit"}]
    with depot_of({"jobs": jobs, "steps": steps, "procedures": declared}) as depot:
        r = depot.yields.rolled()
    assert r.table["procedure"].to_list() == ["board"]
    assert "1 checked first attempt was at steps" in " ".join(r.notes)


def test_empty_depot() -> None:
    with depot_of({}) as depot:
        assert "no jobs yet" in " ".join(depot.comebacks().notes)
        assert rows(depot.comebacks().table, "jobs", "matured", "returned", "rate") == [(0, 0, 0, None)]
        for answer in (
            depot.comebacks(by=("month", "class")), depot.first_pass_yield(), depot.yields.clean(by="model"),
            depot.yields.rolled(), depot.control_chart(), depot.control_chart("clean_jobs", by="site"),
            depot.data.overlaps(), depot.data.loaded(), depot.data.refused(), depot.data.remarks(),
        ):
            assert answer.table.height == 0
            assert answer.table.width > 0
        assert depot.charts.month_against_before() is None


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: d.comebacks(by=("colour",)), "no grouping 'colour'. There is: month, week, site"),
        (lambda d: d.comebacks(by=("site", "site")), "named twice"),
        (lambda d: d.comebacks(where={"site": "Aldr"}), "no site 'Aldr' in the store. There is: Alder, Birch"),
        (lambda d: d.comebacks(where={"month": "2026-01"}), "months="),
        (lambda d: d.comebacks(where={"colour": "red"}), "no filter 'colour'"),
        (lambda d: d.comebacks(where={"class": "bad chance"}), "no class 'bad chance'. There is: no_fault_found"),
        (lambda d: d.comebacks(where={"site": 3}), "takes a text or a list"),
        (lambda d: d.comebacks(where="ACT-1"), "the part 'ACT-1' is no filter; write it like model="),
        (lambda d: d.comebacks(by=3), "by takes a grouping or a list"),
        (lambda d: d.comebacks(months=3), "months takes two ends"),
        (lambda d: d.comebacks(by=("step", "test")), "Make two calls"),
        (lambda d: d.comebacks(window=-1), "number of days"),
        (lambda d: d.comebacks(index_disposition="open"), "repaired, no_fault_found"),
        (lambda d: d.comebacks(months=("2026-03", "2026-01")), "the end, 2026-01, is before the start, 2026-03"),
        (lambda d: d.comebacks(months="spring"), "write it like 2026-05"),
        (lambda d: d.comebacks(level=1.5), "level"),
        (lambda d: d.first_pass_yield(by=("class",)), "no grouping 'class'"),
        (lambda d: d.control_chart("speed"), "There is: comebacks, first_pass_yield, clean_jobs"),
        (lambda d: d.control_chart(period="quarter"), "There is: month, week"),
        (lambda d: d.control_chart(by="month"), "leave month out"),
        (lambda d: d.charts.month_against_before(before=0), "1 or more"),
        (lambda d: d.query("drop table jobs"), "one SELECT"),
        (lambda d: d.query("select 1; select 2"), "one SELECT"),
        (lambda d: d.query("select * from job"), "job"),
        (lambda d: d.query("select interval 1 day as i"), "INTERVAL"),
    ],
)
def test_wrong_questions_say_what_exists(depot: Depot, call: object, says: str) -> None:
    with pytest.raises(RequestError) as raised:
        call(depot)  # type: ignore[operator]
    assert says in str(raised.value)


def test_query(depot: Depot) -> None:
    found = depot.query("select site, count(*) as n, sum(1) as s, avg(1.5) as a, 1.5 as d, now() as t from jobs "
                        "where site = $site group by site", {"site": "Birch"})
    assert found.select("site", "n", "s", "a", "d").rows() == [("Birch", 2, 2, 1.5, 1.5)]
    assert found.schema["s"] == pl.Int64
    assert found.schema["d"] == pl.Float64
    assert depot.query("select job_id from jobs where job_id = ?", ["J1"]).height == 1
    assert {"jobs", "links", "overlapping_jobs", "step_counts", "refused"} <= set(depot.views()["view"])


def test_overlaps_and_loose_ends(depot: Depot) -> None:
    assert rows(depot.data.overlaps().table, "unit_id", "job_id", "other_job_id") == [
        ("U4", "J7", "J8"),
        ("U4", "J8", "J7"),
    ]
    assert "Times are in UTC." in depot.data.overlaps().notes
    ends = dict(depot.data.loose_ends().table.rows())
    assert ends["job that overlaps another on its unit"] == 2
    assert ends["step attempt (row) without a job"] == 1
    assert ends["return without a confirmed fault"] == 1
    jobless = "select count(*) from {} where job_id not in (select job_id from jobs)"
    told = {"steps": "step attempt", "diagnostics": "diagnostic run", "parts": "part"}
    for table, name in told.items():
        assert ends[f"{name} (row) without a job"] == depot.query(jobless.format(table)).item(), table


def test_of_an_answer_too_wide_to_be_read_the_named_columns_are_shown(depot: Depot) -> None:
    found = depot.verdicts()
    lines = repr(found).splitlines()
    assert tuple(lines[1].split()) == found.shown
    assert f"{len(found.table.columns) - len(found.shown)} more columns in .table: scope, finding_id" in repr(found)
    assert ">verdict</th>" in found._repr_html_()
    assert ">scope</th>" not in found._repr_html_()


def test_answers_show_themselves(depot: Depot) -> None:
    r = depot.comebacks(by=("site",))
    assert repr(r) == repr(depot.comebacks(by=("site",)))
    assert repr(r).startswith("Come-backs (window 30, as_of 2026-06-20, index_disposition repaired, by site, level")
    assert "note: " in repr(r)
    assert r._repr_html_() == depot.comebacks(by=("site",))._repr_html_()
    assert "<script" not in r._repr_html_()
    assert r.to_pandas()["returned"].tolist() == [2, 1]
    with pytest.raises(TypeError):
        r.settings["window"] = 90  # type: ignore[index]
    assert type(r) is rqa.answers.comebacks.rate.Comebacks
    assert type(depot.control_chart()) is rqa.answers.charts.control_chart.ControlChart


def test_bare_values_are_escaped() -> None:
    jobs = [{"job_id": "1", "unit_id": "u", "opened_at": at("01-01"), "closed_at": at("01-02"),
             "model": "<script>alert(1)</script>"}]
    with depot_of({"jobs": jobs}) as depot:
        assert "<script>" not in depot.comebacks(by="model")._repr_html_()


def test_what_the_store_holds_and_what_stands_no_longer_by_a_row_loop() -> None:
    sites = ["S", "S", "T", None]
    jobs = [
        {"job_id": f"J{n}", "unit_id": f"U{n}", "site": site, "opened_at": at(f"0{n + 1}-01"),
         "closed_at": None if n == 1 else at(f"0{n + 1}-0{n + 2}"), "disposition": "open" if n == 1 else "repaired"}
        for n, site in enumerate(sites)
    ]
    gone = [
        {"load_id": 1, "table_name": "jobs", "source_file": file, "source_row": n, "reason": reason, "by_file": by}
        for n, (file, reason, by) in enumerate([("a.csv", "r", "b.csv"), ("a.csv", "r", "b.csv"), ("a.csv", "q", None)])
    ]
    expected: dict[Any, int] = {}
    for row in gone:
        key = ("jobs", row["source_file"], row["reason"], row["by_file"] or "")
        expected[key] = expected.get(key, 0) + 1
    with depot_of({"jobs": jobs, "superseded": gone}) as depot:
        held = depot.data.held_by_site().table
        stood = depot.data.superseded().table
    assert {row[:4]: row[4] for row in stood.iter_rows()} == expected
    assert stood.rows() == sorted(stood.rows())
    by_site = {}
    for site in {job["site"] for job in jobs}:
        own = [job for job in jobs if job["site"] == site]
        days = [day.date() for job in own for day in (job["opened_at"], job["closed_at"]) if day is not None]
        by_site[site or "unknown"] = (
            len(own), sum(j["disposition"] == "open" for j in own), min(j["opened_at"].date() for j in own), max(days)
        )
    assert {row[0]: row[1:] for row in held.iter_rows()} == by_site
