"""What come-backs cost and whether goals are met, on a depot small enough to reckon on paper."""

import random
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

import rqa
from rqa.answers.comebacks.costs import AvoidedCost, avoided_cost
from rqa.depot import Depot
from rqa.errors import MappingError, RequestError
from rqa.intake.draft import parse_mapping
from rqa.loading import load
from rqa.measures.keep import keep
from rqa.measures.run import counts
from tests.depots import depot_of


def job(name: str, unit: str, opened: str, closed: str | None, **more: Any) -> dict[str, Any]:
    return {
        "job_id": name, "unit_id": unit, "opened_at": datetime.fromisoformat(f"2026-{opened}"),
        "closed_at": closed and datetime.fromisoformat(f"2026-{closed}"), "billing": "paid", **more,
    }


JOBS = [
    # A goodwill repair of 30 + 5 comes back as a repeat of 40 + 10: 85.
    job("A1", "A", "01-02", "01-05", found="display", billing="goodwill", parts_cost=30.0, freight_cost=5.0),
    job("A2", "A", "01-20", "01-22", found="display", parts_cost=40.0, freight_cost=10.0),
    # Comes back with nothing found: 15, of which parts 0 by the job's own word, though a list is there.
    job("B1", "B", "01-02", "01-05", found="display", parts_cost=99.0, freight_cost=9.0),
    job("B2", "B", "02-03", "02-05", disposition="no_fault_found", parts_cost=0.0, freight_cost=15.0),
    # A repeat whose parts are known by their list alone: 2 x 12.50 + 5 = 30.
    job("C1", "C", "01-02", "01-05", found="display"),
    job("C2", "C", "02-10", "02-12", found="display", freight_cost=5.0),
    # Not known: one still open, one without freight.
    job("D1", "D", "01-02", "01-05", found="display"),
    job("D2", "D", "02-20", None, disposition="open"),
    job("E1", "E", "01-02", "01-05", found="display"),
    job("E2", "E", "02-20", "02-21", found="display", parts_cost=1.0),
]
PARTS = [
    {"job_id": "C2", "line": 1, "part_no": "P", "quantity": 2.0, "unit_cost": 12.5},
    {"job_id": "B2", "line": 1, "part_no": "P", "quantity": 1.0, "unit_cost": 7.0},
]


@pytest.fixture
def depot() -> Iterator[Depot]:
    with depot_of({"jobs": JOBS, "parts": PARTS}, as_of="2026-03-31") as opened:
        yield opened


def test_costs_by_class(depot: Depot) -> None:
    table = depot.costs(window=90).table
    names = (
        "class",
        "comebacks",
        "known",
        "cost",
        "mean",
        "share",
        "cumulative",
        "goodwill",
        "still_open",
        "no_freight",
    )
    assert table.select(names).rows() == [
        ("repeat", 3, 2, 115.0, 57.5, round(115 / 130, 6), round(115 / 130, 6), 35.0, 0, 1),
        ("no_fault_found", 1, 1, 15.0, 15.0, round(15 / 130, 6), 1.0, 0.0, 0, 0),
        ("unknown", 1, 0, None, None, None, None, None, 1, 0),
    ]


def test_a_month_is_that_of_coming_back(depot: Depot) -> None:
    months = {r["month"].month: r["cost"] for r in depot.costs(by="month", window=90).table.iter_rows(named=True)}
    assert months == {1: 85.0, 2: 45.0}
    assert depot.costs(by=(), months="2026-01", window=90).table["cost"].to_list() == [85.0]
    assert depot.costs(by=(), window=20).table["comebacks"].to_list() == [1]


def test_what_is_not_known_is_said(depot: Depot) -> None:
    notes = " ".join(depot.costs(window=90).notes)
    assert "Labour is not counted: the mapping gives no labour_rate" in notes
    assert "2 of 5 come-backs have no known cost (1 is still open, 1 without the cost of freight)" in notes
    assert depot.costs(window=90).settings["currency"] == "EUR"


def test_without_come_backs_there_is_no_data() -> None:
    with depot_of({"jobs": JOBS[:1]}) as quiet:
        assert quiet.costs(window=90).table.is_empty()
        assert quiet.costs(by=(), window=90).table.is_empty()


LACKING = [("labour",), ("parts", "freight"), ("labour", "parts", "freight")]
OTHERS = [(), ("parts",), ("freight",), ("labour", "freight")]


@pytest.mark.parametrize(
    "cases", [LACKING, pytest.param(OTHERS, marks=pytest.mark.slow)], ids=["one, two, all", "others"]
)
def test_each_part_of_a_cost_that_is_not_mapped_leaves_the_sums_of_the_others(cases: list[tuple[str, ...]]) -> None:
    """Labour, parts or freight missing everywhere: the rest is shown as it was, and what is missing is named."""
    rng = random.Random(7)
    columns = {"labour": "labour_minutes", "parts": "parts_cost", "freight": "freight_cost"}
    jobs = [
        job(f"{side}{n}", f"U{n}", f"0{1 + later}-{1 + n % 27:02d}", f"0{1 + later}-{1 + n % 27:02d}", found="display",
            labour_minutes=60.0 * rng.randint(1, 4), parts_cost=rng.randint(1, 90) / 2,
            freight_cost=rng.randint(1, 9) / 4, billing=rng.choice(["paid", "goodwill"]),
            site=rng.choice(["Alder", "Birch"]))
        for n in range(40) for later, side in enumerate("AB")
    ]
    whole = costs_at(jobs, rate=30)
    assert (whole["known"], whole["not_counted"]) == (40, "")
    for missing in cases:
        cut = [{**j, **{columns[m]: None for m in missing}} for j in jobs]
        row = costs_at(cut, rate=30)
        left = [name for name in columns if name not in missing]
        assert {n: row[n] for n in left} == {n: whole[n] for n in left}
        assert [row[m] for m in missing] == [None] * len(missing)
        if left:
            assert row["known"] == 40
            assert row["cost"] == pytest.approx(sum(row[n] for n in left) + row["goodwill"])
            assert row["not_counted"] == ", ".join(missing)
            assert [n for n in row["notes"] if " not counted: " in n] == [
                n
                for m in missing
                for n in row["notes"]
                if n.startswith(f"{m.capitalize()} {'are' if m == 'parts' else 'is'} not counted")
            ]
        else:
            assert (row["cost"], row["no_costs"]) == (None, 40)
            assert any("cannot be told" in n and "freight_cost" in n for n in row["notes"])
    # What is said to be missing is missing: of labour minutes without a rate, the rate alone.
    without = {"parts_cost": None, "freight_cost": None}
    unpriced = costs_at([{**j, **without} for j in jobs], rate=0)
    assert (unpriced["cost"], unpriced["no_costs"]) == (None, 40)
    notes = " ".join(unpriced["notes"])
    assert "labour minutes are given; add labour_rate (cost of an hour) under [workspace]" in notes
    assert "no labour" not in notes
    assert "40 of 40 come-backs have no known cost (40 at a site where no part of the cost is counted), so " in notes
    assert "too low" not in notes


def test_a_part_that_one_site_alone_does_not_give_is_not_counted_there() -> None:
    jobs = [
        job("A1", "A", "01-02", "01-05", site="Alder"), job("A2", "A", "01-20", "01-22", parts_cost=4.0, site="Alder"),
        job("B1", "B", "01-02", "01-05", site="Birch"),
        job("B2", "B", "01-20", "01-22", parts_cost=4.0, freight_cost=1.5, site="Birch"),
    ]
    row = costs_at(jobs)
    assert (row["cost"], row["parts"], row["freight"]) == (9.5, 8.0, 1.5)
    assert row["not_counted"] == "labour, freight (in 1 of 2)"
    assert "Freight is not counted in 1 of 2 known costs: no job at the sites concerned gives it." in " ".join(
        row["notes"]
    )


def costs_at(jobs: list[dict[str, Any]], rate: int = 0) -> dict[str, Any]:
    """The row of all come-backs, with the notes."""

    def kept(connection: Any) -> None:
        keep(connection)
        connection.execute("insert into about values ('labour_rate', ?)", [str(rate)])

    with depot_of({"jobs": jobs}, "2026-06-30", kept=kept) as depot:
        answer = depot.costs(by=(), window=90)
        return {**answer.table.row(0, named=True), "notes": answer.notes}


def test_refused_questions(depot: Depot) -> None:
    with pytest.raises(RequestError, match="no grouping 'technician'"):
        depot.costs(by="technician")
    with pytest.raises(RequestError, match="window is a whole number of days"):
        depot.costs(window=-1)


SOURCES = """
[workspace]
labour_rate = {rate}
currency = "EUR"
[files.jobs]
path = "jobs.csv"
[[table]]
table = "jobs"
from = "jobs"
"""
CSV = """job_id,unit_id,model,site,procedure,opened_at,closed_at,disposition,labour_minutes,parts_cost,freight_cost
A1,A,M,S,P,2026-01-02T08:00Z,2026-01-05T08:00Z,repaired,60,1,2
A2,A,M,S,P,2026-01-20T08:00Z,2026-01-22T08:00Z,repaired,90,10,5
B1,B,M,S,P,2026-01-02T08:00Z,2026-01-05T08:00Z,repaired,60,1,2
B2,B,M,S,P,2026-01-20T08:00Z,2026-01-22T08:00Z,repaired,,10,5
"""


def test_a_labour_rate_puts_labour_into_the_cost(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(CSV, encoding="utf-8")
    (tmp_path / "sources.toml").write_text(SOURCES.format(rate=40), encoding="utf-8")
    load(tmp_path)
    with rqa.open(tmp_path) as opened:
        row = opened.costs(by=(), window=90).table.row(0, named=True)
        assert (row["labour"], row["cost"], row["comebacks"], row["no_labour"]) == (60.0, 75.0, 2, 1)
    # Only the rate changed: no file is read again, and the new rate holds.
    (tmp_path / "sources.toml").write_text(SOURCES.format(rate=20), encoding="utf-8")
    load(tmp_path)
    with rqa.open(tmp_path) as opened:
        assert opened.costs(by=(), window=90).table["labour"].to_list() == [30.0]


@pytest.mark.parametrize("rate", ["0", "-3", "inf", '"much"'])
def test_a_rate_that_is_none(rate: str) -> None:
    import tomllib

    with pytest.raises(MappingError, match=r"workspace\.labour_rate"):
        parse_mapping(tomllib.loads(SOURCES.format(rate=rate)))


def test_avoided_cost_by_the_published_way() -> None:
    """Zou and Donner (2008): squares of the distances to the limits add up; a mean known exactly adds none."""
    sure = {"mean": 100.0, "mean_low": 100.0, "mean_high": 100.0}
    assert avoided_cost(avoided=10, low=4, high=17, **sure) == AvoidedCost(1000.0, 400.0, 1700.0)
    assert avoided_cost(avoided=-10, low=-17, high=-4, **sure) == AvoidedCost(-1000.0, -1700.0, -400.0)
    both = avoided_cost(avoided=10, low=7, high=13, mean=100, mean_low=60, mean_high=140)
    assert both == AvoidedCost(1000.0, 500.0, 1500.0)  # 300 and 400 to either side
    lost = avoided_cost(avoided=-10, low=-13, high=-7, mean=100, mean_low=60, mean_high=100)
    assert lost == AvoidedCost(-1000.0, -1300.0, -500.0)
    assert avoided_cost(avoided=3, low=1, high=5, mean=None, mean_low=None, mean_high=None) == AvoidedCost(*[None] * 3)
    with pytest.raises(RequestError, match="avoided 3 must lie within"):
        avoided_cost(avoided=3, low=4, high=5, **sure)


def goal(measure: str, month: str, value: float) -> dict[str, Any]:
    return {"measure": measure, "from_month": datetime.fromisoformat(f"{month}-01").date(), "value": value}


MANY = [job(f"J{n}", f"U{n}", "01-02", "01-05") for n in range(60)]
BACK = [job(f"R{n}", f"U{n}", "01-12", "01-15") for n in range(12)]


@pytest.mark.parametrize(
    ("value", "met"),
    [(0.05, "no"), (0.17, "cannot be told"), (0.4, "yes")],
)
def test_a_goal_is_met_only_where_the_whole_interval_is(value: float, met: str) -> None:
    """12 of 72 repaired jobs came back: Wilson's 95 % interval is 9.8 to 26.9 %."""
    with depot_of({"jobs": [*MANY, *BACK], "targets": [goal("comebacks_30", "2025-06", value)]}, "2026-06-30") as depot:
        row = depot.actions.targets("2026-01").table.row(0, named=True)
        assert (row["count"], row["size"], row["met"]) == (12, 72, met)
        assert (round(row["low"], 3), round(row["high"], 3)) == (0.098, 0.269)
        assert ("cannot be told, as the interval holds the goal" in row["sentence"]) == (met == "cannot be told")


def test_a_month_that_is_not_final_is_not_judged() -> None:
    tables = {"jobs": [*MANY, *BACK], "targets": [goal("comebacks_30", "2025-06", 0.9)]}
    with depot_of(tables, "2026-02-20") as depot:
        row = depot.actions.targets("2026-01").table.row(0, named=True)
        assert row["met"] == "cannot be told yet"
        assert row["sentence"].endswith("not final.")


@pytest.mark.slow
def test_time_alone_tells_only_what_was_not_told_yet() -> None:
    """The same rows, looked at later: what waits ends, and what does not wait stays as it is."""
    steps = [{"job_id": j["job_id"], "step": "fit", "started_at": j["opened_at"]} for j in MANY]
    tables: dict[str, Any] = {
        "jobs": [*MANY, *BACK, job("F", "U99", "03-30", "04-02")], "steps": steps,
        "targets": [goal(name, "2025-06", 0.17) for name in ("comebacks_30", "comebacks_90", "clean_jobs",
                                                              "first_run_pass")],
    }
    days = ("01-20", "02-03", "03-01", "03-31", "04-30", "05-30", "07-30")
    last: dict[Any, tuple[str, str]] = {}
    waited = set[str]()
    with depot_of(tables) as depot:
        for day in days:
            then = Depot(depot._store, f"2026-{day}")
            for month in ("2025-12", "2026-01", "2026-02", "2026-04"):
                rows = then.actions.targets(month).table.select("measure", "met", "sentence").rows()
                for measure, met, sentence in rows:
                    before, key = last.get((measure, month)), (measure, month)
                    assert before is None or before[0] == "cannot be told yet" or before == (met, sentence), (key, day)
                    waited |= {measure} if met == "cannot be told yet" else set()
                    last[key] = met, sentence
    assert waited == {"comebacks_30", "comebacks_90", "clean_jobs"}
    assert {met for met, _ in last.values()} == {"yes", "cannot be told"}
    for said in last.values():
        assert not re.search(r"\byet\b|more time|so far", " ".join(said)), said


def test_where_no_unit_is_there_twice_no_goal_has_a_share() -> None:
    with depot_of({"jobs": MANY, "targets": [goal("comebacks_30", "2025-06", 0.1)]}, "2026-06-30") as depot:
        row = depot.actions.targets("2026-01").table.row(0, named=True)
    assert (row["size"], row["value"], row["low"], row["high"], row["met"]) == (60, None, None, None, "cannot be told")


def test_the_latest_goal_holds_and_odd_ones_are_noted() -> None:
    named = (("comebacks_30", "2025-01", 0.9), ("comebacks_30", "2026-01", 0.2), ("comebacks_30", "2026-02", 0))
    goals = [goal(*one) for one in (*named, ("smiles", "2025-01", 0.5), ("clean_jobs", "2025-01", 55))]
    with depot_of({"jobs": [*MANY, *BACK], "targets": goals}, "2026-06-30") as depot:
        answer = depot.actions.targets("2026-01")
        assert answer.table["goal"].to_list() == [0.2]
        assert "'smiles' names no measure. There is: comebacks_30, comebacks_90" in " ".join(answer.notes)
        assert "write 5 % as 0.05" in " ".join(answer.notes)
        assert counts(depot._store, "targets").height == 5


def test_without_goals() -> None:
    with depot_of({"jobs": MANY}) as depot:
        assert depot.actions.targets().table.is_empty()
        assert "“targets” is not loaded" in " ".join(depot.actions.targets().notes)
