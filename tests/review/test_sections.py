"""The page's sections on cost, goals and its own making, and what a later page says of an earlier one."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from rqa.depot import Depot
from rqa.depot import open as open_depot
from rqa.errors import RequestError
from rqa.review import write_page
from rqa.review.comebacks.costs import cost
from rqa.review.comebacks.projected import projections
from rqa.review.data.provenance import fingerprint, provenance, record
from rqa.review.figures import _steps, _work
from rqa.review.improve.goals import BOTH_SIDES, UNFINISHED, goals
from rqa.review.improve.verdicts import summary, verdicts
from rqa.review.ledger import LEDGER, Record, changes, keep, read_ledger
from tests.cases import some_slow
from tests.depots import depot_of, make_store
from tests.review.made_depot import made_tables

MONTH = date(2024, 10, 1)


@pytest.fixture(scope="module")
def tables() -> dict[str, Any]:
    return made_tables(jobs=300, days=300)


@pytest.fixture(scope="module")
def depot(tables: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Depot]:
    with open_depot(make_store(tmp_path_factory.mktemp("sections") / "depot.duckdb", tables)) as opened:
        yield opened


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_cost_says_the_month_and_the_year(depot: Depot) -> None:
    told = cost(depot, MONTH)
    own = depot.costs(by=(), months="2024-10", window=90).table.row(0, named=True)
    said = f"{own['cost']:,.0f} EUR (95 % interval {own['cost_low']:,.0f} to"
    assert f"opened in October 2024, within 90 days of closing, cost {said}" in plain(told.words[0])
    year = depot.costs(by=(), months=("2024-01", "2024-10"), window=90).table.row(0, named=True)
    assert year["known"] == year["comebacks"] - 1
    said = f"The {year['known']} with a known cost of {year['comebacks']} come-backs opened from January 2024 to"
    assert said in told.words[1]
    assert any("Labour is not counted" in n for n in told.notes)
    assert told.words[0].endswith("Not counted: labour.")
    assert any("no known cost" in n for n in told.notes)
    kinds = told.figures[0].table
    assert [c for c in kinds.columns if "cost" in c] == ["with known cost", "cost", "one costs"]
    assert len(kinds.rows) == depot.costs(by=("class", "model"), months=("2024-01", "2024-10"), window=90).table.height


@pytest.mark.parametrize("missing", some_slow(["freight_cost", "parts_cost"], 1))
def test_cost_is_shown_without_the_part_that_is_not_mapped(tables: dict[str, Any], missing: str) -> None:
    part = missing.removesuffix("_cost")
    with depot_of({**tables, "jobs": [{**j, missing: None} for j in tables["jobs"]]}) as depot:
        told = cost(depot, MONTH)
        year = depot.costs(by=(), months=("2024-01", "2024-10"), window=90).table.row(0, named=True)
    assert f"cost {year['cost']:,.0f} EUR" in plain(told.words[1])
    assert part in told.words[1].split("Not counted:")[1]
    assert len(told.figures) == 2
    assert all(f.table.rows[0][f.table.columns.index("cost")] != "no data" for f in told.figures)


def test_where_no_cost_is_mapped_nothing_is_drawn_and_it_says_what_to_map(tables: dict[str, Any]) -> None:
    bare = {"labour_minutes": None, "parts_cost": None, "freight_cost": None}
    with depot_of({**tables, "jobs": [{**j, **bare} for j in tables["jobs"]]}) as depot:
        told = cost(depot, MONTH)
    assert "have no known cost: no part of the cost is counted at their site" in told.words[1]
    assert told.figures == ()
    assert any("freight_cost of jobs" in n and "labour_rate" in n for n in told.notes)


def test_goals_are_judged_in_the_latest_final_month(depot: Depot) -> None:
    told = goals(depot, MONTH)
    rows = {r[0]: r for r in told.tables[0].rows}
    assert rows["come-backs within 30 days"][2] == "September 2024"
    assert rows["clean-job share"][2] == "October 2024"
    found = {
        r["measure"]: r for m in ("2024-09", "2024-10") for r in depot.actions.targets(m).table.iter_rows(named=True)
    }
    assert rows["clean-job share"][3] == found["clean_jobs"]["met"] == "yes"
    assert told.words == (f"1 of 3 goals met, 1 not met, 1 cannot be told: {BOTH_SIDES}.",)
    assert UNFINISHED not in str(told)
    assert sorted(r[3] for r in rows.values()) == ["cannot be told", "no", "yes"]
    assert any("names no measure" in n for n in told.notes)


def test_what_the_whole_is_of_and_why_rows_are_not_shown(depot: Depot) -> None:
    """The tick of a picture cut down to large groups is that of the groups shown; each reason has its number."""
    for figure, size in ((_steps(depot, MONTH), "exposures"), (_work(depot, (MONTH, MONTH)), "matured")):
        by = ("step",) if size == "exposures" else ("model", "procedure")
        ask = depot.first_pass_yield if size == "exposures" else depot.comebacks
        sizes = ask(by=by, months="2024-10").table[size].to_list()
        left = len(sizes) - len(figure.table.rows)
        none, few = sum(n == 0 for n in sizes), left - sum(n == 0 for n in sizes)
        said = figure.reading.partition("not shown: ")[2]
        assert (left > 0) == bool(said)
        assert ("tick = all shown together" in figure.reading) == (left > 0 and bool(figure.table.rows))
        assert ("Each row is" in figure.reading) == bool(figure.table.rows), "of nothing drawn nothing is explained"
        assert (f"{few} with fewer than 20 cases" in said) == (few > 0)
        assert none == 0 or f"{none} " in said
        if len(figure.table.rows) > 1:
            assert ("All shown together: " in figure.alternative) == (left > 0)


def test_where_all_groups_are_small_the_picture_does_not_say_that_there_is_nothing(tables: dict[str, Any]) -> None:
    jobs = [j for j in tables["jobs"] if f"{j['closed_at']:%Y-%m}" == "2024-10"][:12]
    there = {j["job_id"] for j in jobs}
    logs = {name: [r for r in tables[name] if r["job_id"] in there] for name in ("steps", "diagnostics")}
    groups = {r["step"] for r in logs["steps"]}
    with depot_of({**tables, "jobs": jobs, **logs}) as few:
        figure = _steps(few, MONTH)
    assert len(groups) > 1
    assert figure.table.rows == ()
    assert figure.alternative == (
        f"First-pass yield by step, October 2024: not shown. All {len(groups)} groups have fewer than 20 cases."
    )


def test_a_projection_is_said_of_the_figures_that_have_one(depot: Depot) -> None:
    """In the middle of November neither figure of October is final; which has a projection is for the page to say."""
    judged, ahead = verdicts(depot, MONTH), projections(depot, MONTH)
    names = [p.measure for p in ahead]
    assert names == ["come-backs within 30 days", "come-backs within 90 days"]
    unknown = replace(ahead[0], share="no data", interval="no data")
    for shown, said in (
        (ahead, "is shown instead, with a projection beside it."),
        (ahead[1:], f"is shown instead, with a projection of {names[1]} beside it."),
        ((unknown, ahead[1]), f"is shown instead, with a projection of {names[1]} beside it."),
        ((), "is shown instead."),
    ):
        assert said in summary(depot.grounds(MONTH), judged, MONTH, shown)


def test_no_goals_and_no_come_backs() -> None:
    with depot_of({"jobs": [{"job_id": "J", "unit_id": "U", "opened_at": datetime(2026, 1, 1),
                             "closed_at": datetime(2026, 1, 2)}]}) as quiet:
        assert "“targets” is not loaded" in goals(quiet, date(2026, 1, 1)).words[0]
        assert cost(quiet, date(2026, 1, 1)).words[0].startswith("Cannot be told: what come-backs cost, as no unit")


def test_what_the_page_stands_on(depot: Depot) -> None:
    told = provenance(depot, record(depot, MONTH, ()), ())
    rows = dict(told.tables[0].rows)
    assert rows["as of"] == depot.as_of.date().isoformat()
    assert re.fullmatch(r"[0-9a-f]{16}", rows["fingerprint of what was loaded"])
    assert rows["format of the store"] == depot.about["format_version"]
    assert f"--month 2024-10 --as-of {rows['as of']}" in told.words[0]


def test_an_old_month_as_of_its_own_time_is_not_changed_by_what_came_later(tables: dict[str, Any]) -> None:
    """Looked at as of a day, a store with more jobs after that day says the same as one without them."""
    day = date(2024, 8, 31)
    early = {**tables, "jobs": [j for j in tables["jobs"] if j["closed_at"].date() <= day]}
    known = {j["job_id"] for j in early["jobs"]}
    for table in ("steps", "diagnostics"):
        early[table] = [r for r in tables[table] if r["job_id"] in known]
    with depot_of(early, day) as then, depot_of(tables, day) as now:
        assert verdicts(then, date(2024, 7, 1)) == verdicts(now, date(2024, 7, 1))
        assert goals(then, date(2024, 7, 1)).tables == goals(now, date(2024, 7, 1)).tables
        assert cost(then, date(2024, 7, 1)).words == cost(now, date(2024, 7, 1)).words


def books(*loads: tuple[int, str, str]) -> list[dict[str, Any]]:
    zero = dict.fromkeys(("in_file", "left_out", "read", "accepted", "refused", "known", "superseded"), 0)
    return [
        {"load_id": load, "source_file": file, "table_name": "jobs", "digest": digest, "mapping_digest": "m"} | zero
        for load, file, digest in loads
    ]


def test_the_fingerprint_is_of_what_was_loaded() -> None:
    def of(*loads: tuple[int, str, str]) -> str:
        with depot_of({"load_files": books(*loads)}) as opened:
            return fingerprint(opened)

    one = of((1, "a.csv", "x"), (1, "b.csv", "y"))
    assert of((1, "b.csv", "y"), (1, "a.csv", "x")) == one
    assert of((1, "a.csv", "x"), (1, "b.csv", "y"), (2, "a.csv", "x")) == one, "nothing new"
    assert of((3, "a.csv", "x"), (3, "b.csv", "y")) == one, "numbers of loads mean nothing"
    others = {of((1, "a.csv", "x"), (2, "b.csv", "y")), of((1, "a.csv", "z"), (1, "b.csv", "y")), of((1, "a.csv", "x"))}
    assert len({one, *others}) == 4


def test_the_next_page_says_what_late_data_changed(tables: dict[str, Any], tmp_path: Path) -> None:
    late = next(j for j in tables["jobs"] if j["closed_at"].month == 7)
    rest = {**tables, "jobs": [j for j in tables["jobs"] if j is not late]}
    extra = {**tables, "load_files": [*tables["load_files"], {**tables["load_files"][0], "load_id": 2, "digest": "d2"}]}
    for name, content in (("then", rest), ("now", extra)):
        with open_depot(make_store(tmp_path / f"{name}.duckdb", content), as_of="2024-09-15") as opened:
            month = date(2024, 7, 1)
            own = record(opened, month, verdicts(opened, month))
            points = changes(own, read_ledger(tmp_path))
            if name == "then":
                assert points == ("No other page of July 2024 was written here before this one.",)
            keep(tmp_path, read_ledger(tmp_path), own)
            assert changes(own, read_ledger(tmp_path)) == points, "written again, it says the same"
            keep(tmp_path, read_ledger(tmp_path), own)
    text = plain(" ".join(points))
    assert points[0] == "The page of July 2024 before this one was written as of 2024-09-15, on other data."
    found = re.search(r"30 days of July 2024: .*? of (\d+) matured jobs\), .*?; it was .*? of (\d+) matured", text)
    assert found
    assert int(found[1]) == int(found[2]) + 1
    assert points[-1].startswith("Both look as of the same day")
    assert len(read_ledger(tmp_path)) == 2


def test_changes_by_time_alone() -> None:
    one = Record("2026-01", "2026-02-01", "f", {"yield": ("January 2026", "90 %"), "rate": ("December 2025", "5 %")})
    two = Record("2026-01", "2026-03-15", "f", {"yield": ("January 2026", "90 %"), "rate": ("January 2026", "4 %")})
    assert changes(two, [one, two]) == (
        "The page of January 2026 before this one was written as of 2026-02-01, on the same data.",
        "Rate: 4 % in January 2026; before, 5 % in December 2025.",
        "Unchanged: yield.",
    )
    assert changes(one, [one, two]) == ("No other page of January 2026 was written here before this one.",)


@pytest.mark.parametrize("text", ["", "[]", '{"pages": [{}]}', '{"pages": 3}', "\ufffd{"])
def test_a_ledger_that_is_none_is_refused(text: str, depot: Depot, tmp_path: Path) -> None:
    (tmp_path / LEDGER).write_text(text, encoding="utf-8")
    with pytest.raises(RequestError, match="is no ledger of pages; move it away"):
        write_page(depot, tmp_path)
