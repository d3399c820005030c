"""What a site has to mend, and what may be claimed, against slow row loops."""

from collections import Counter
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from openpyxl import load_workbook

from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.to_do import write_to_do
from tests.depots import depot_of
from tests.measures.by_hand import links
from tests.measures.comebacks.test_returns_against_rows import FEW, as_ofs, deep_tables


def gaps_by_hand(tables: dict[str, Any], as_of: date) -> Counter[Any]:
    """Jobs that lack something, from the rows."""
    stepped, run = ({row["job_id"] for row in tables[name]} for name in ("steps", "diagnostics"))
    sites = {"step log": set(), "diagnostics": set()}  # type: dict[str, set[str]]
    for job in tables["jobs"]:
        sites["step log"] |= {job["site"]} if job["job_id"] in stepped else set()
        sites["diagnostics"] |= {job["site"]} if job["job_id"] in run else set()
    found: Counter[Any] = Counter()
    for job in tables["jobs"]:
        key = (job["site"], job["job_id"])
        closed = job["disposition"] == "repaired" and job["closed_on"] <= as_of
        if closed and job["job_id"] not in stepped and job["site"] in sites["step log"]:
            found[(*key, "closed repair without a step log")] += 1
        if closed and job["job_id"] not in run and job["site"] in sites["diagnostics"]:
            found[(*key, "closed repair without diagnostics")] += 1
        if job["disposition"] == "open" and (as_of - job["opened_on"]).days > 90:
            found[(*key, "job open for more than 90 days")] += 1
    for job, _, _, kind in links(tables).values():
        if kind == "unknown":
            found[(job["site"], job["job_id"], "return without a confirmed fault")] += 1
    return found


@FEW
@given(data=deep_tables(), as_of=as_ofs)
def test_gaps_of_jobs(data: dict[str, Any], as_of: date) -> None:
    with depot_of(data) as depot:
        table = counts(depot._store, "gaps_by_site", values={"as_of": as_of})
        given_ = counts(depot._store, "given_by_site", values={"as_of": as_of})
    assert Counter(table.select("site", "job_id", "what").iter_rows()) == gaps_by_hand(data, as_of)
    closed = [j for j in data["jobs"] if j["disposition"] == "repaired" and j["closed_on"] <= as_of]
    of_found = given_.filter(given_["column_name"] == "found")
    assert dict(of_found.select("site", "given").iter_rows()) == {
        site: sum(1 for j in closed if j["site"] == site and j["found"] is not None)
        for site in {j["site"] for j in closed}
    }


def claims_by_hand(tables: dict[str, Any], as_of: date, window: int) -> Counter[Any]:
    """Come-backs and grounds, from the rows."""
    found: Counter[Any] = Counter()
    for job, back, gap, _ in links(tables).values():
        if job["disposition"] != "repaired" or back is None or gap is None or gap > window or back["opened_on"] > as_of:
            continue
        grounds: set[Any] = {("unit under warranty", None, None)} if back["billing"] == "warranty" else set()
        for part in tables["parts"]:
            again = [q for q in tables["parts"] if q["job_id"] == back["job_id"] and q["part_no"] == part["part_no"]]
            if part["job_id"] == job["job_id"] and again:
                grounds.add(("part fitted again", part["part_no"], part["lot"]))
        for ground in grounds or {(None, None, None)}:
            found[(job["job_id"], back["job_id"], *ground)] += 1
    return found


@FEW
@given(data=deep_tables(), as_of=as_ofs)
def test_come_backs_that_may_be_claimed(data: dict[str, Any], as_of: date) -> None:
    for n, job in enumerate(data["jobs"]):
        job["billing"] = (None, "warranty", "paid")[n % 3]
    with depot_of(data) as depot:
        table = counts(
            depot._store, "claimable", values={"as_of": as_of, "window": 40, "disposition": "repaired"}
        )
    names = ("job_id", "return_job_id", "ground", "part_no", "lot")
    assert Counter(table.select(names).iter_rows()) == claims_by_hand(data, as_of, 40)


AT = datetime(2026, 1, 5, 9)
SHOP: dict[str, list[dict[str, Any]]] = {
    "jobs": [
        {"job_id": "A1", "unit_id": "U1", "opened_at": AT, "closed_at": AT, "source_file": "alder/jobs.csv"},
        {"job_id": "A2", "unit_id": "U1", "opened_at": AT + timedelta(days=9), "closed_at": AT + timedelta(days=9),
         "source_file": "alder/jobs.csv", "billing": "warranty", "parts_cost": 30.0},
        {"job_id": "B1", "unit_id": "U2", "opened_at": AT, "closed_at": AT, "site": "Birch/2",
         "source_file": "both.csv"},
        {"job_id": "A3", "unit_id": "U3", "opened_at": AT, "closed_at": AT, "source_file": "both.csv"},
    ],
    "steps": [{"job_id": "B1", "step": "fit", "source_file": "birch/steps.csv"}],
    "refused": [
        {"load_id": 1, "table_name": "jobs", "source_file": "both.csv", "source_row": 7, "column_name": "site",
         "rule": "missing", "value": None, "raw": "{}", "job_id": "B1"},
        {"load_id": 1, "table_name": "jobs", "source_file": "both.csv", "source_row": 8, "column_name": "closed_at",
         "rule": "not a date and time in the given formats", "value": "soon", "raw": "{}", "job_id": None},
        {"load_id": 1, "table_name": "steps", "source_file": "birch/steps.csv", "source_row": 3,
         "column_name": "outcome", "rule": "never heard of", "value": "=1+1", "raw": "{}", "job_id": "?"},
    ],
    "remarks": [{"load_id": 1, "table_name": "jobs", "source_file": "alder/jobs.csv", "remark": "unknown model",
                 "value": "X", "rows": 4, "first_row": 2}],
}


def test_rows_belong_to_the_site_of_their_job_or_of_their_file(tmp_path: Path) -> None:
    with depot_of(SHOP) as depot:
        made = depot.data.to_mend()
        paths = write_to_do(depot, tmp_path / "new")
        with pytest.raises(RequestError, match="nothing to mend"):
            write_to_do(depot, tmp_path, "Cedar")
    rows = [tuple(r) for r in made.table.select("site", "source_file", "source_row", "next_step").iter_rows()]
    assert sorted(rows) == [
        ("", "both.csv", 8, "Write a day and time that exist, in the form of the other rows."),
        ("Alder", "alder/jobs.csv", 2, "Correct the name, or add it to the reference table."),
        ("Birch/2", "birch/steps.csv", 3, "Correct the value so that the rule holds."),
        ("Birch/2", "both.csv", 7, "Fill the field in."),
    ]
    assert {path.name for path in paths.values()} == {
        "to-do site not told.xlsx", "to-do Alder.xlsx", "to-do Birch_2.xlsx",
    }
    book = load_workbook(paths["Birch/2"])
    assert book.sheetnames == ["about", "rows", "jobs", "columns"]
    cells = [[cell.value for cell in row] for row in book["rows"].iter_rows()]
    assert [row[1:3] for row in cells[1:]] == [["both.csv", 7], ["birch/steps.csv", 3]]
    # What looks like a formula stays a text.
    assert {cell.data_type for row in book["rows"].iter_rows(min_row=2) for cell in row} <= {"s", "n"}
    assert made.columns is not None
    assert made.columns.filter(made.columns["site"] == "Alder").height >= 5


def test_what_is_missing_to_claim_is_said() -> None:
    with depot_of(SHOP) as depot:
        answer = depot.returns.claims()
    found = answer.table.select("ground", "job_id", "days_out", "cost").rows()
    assert found == [("unit under warranty", "A1", 9, 30.0)]
    assert any("the parts list of the job before is empty" in note for note in answer.notes)
    assert any("stands in the contracts" in note for note in answer.notes)
