"""A job that nobody closed takes every later one of its unit out of the rates; load, page and answers say how many."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rqa
from rqa.measures.keep import keep
from rqa.review import describe
from rqa.store.remarks import NEVER_CLOSED
from tests.examples import examples
from tests.workspaces import Workspace, csv_of, job

MAPPING: dict[str, Any] = {
    "workspace": {"zone": "UTC"},
    "files": {"f": {"path": "jobs.csv"}},
    "table": [{"table": "jobs", "from": "f"}],
}
TOLD = f"select value, rows from remarks where remark = '{NEVER_CLOSED}'"


def visit(job_id: str, unit: str, day: int, days: int | None = 1) -> dict[str, str]:
    """A job opened on a day of March and closed some days later; None: never."""
    closed = (
        {"disposition": "open", "closed_at": ""} if days is None else {"closed_at": f"2024-03-{day + days:02} 10:00:00"}
    )
    return job(job_id, unit_id=unit, opened_at=f"2024-03-{day:02} 10:00:00", **closed)


FORGOTTEN = [
    visit("A", "U1", 1, None), visit("B", "U1", 3), visit("C", "U1", 6), visit("D", "U1", 9),
    visit("E", "U2", 1), visit("F", "U2", 4), visit("G", "U3", 20, None),
]


def test_the_load_says_how_many_jobs_a_forgotten_one_takes_out(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(*FORGOTTEN))
    report = ws.load(MAPPING, keep=keep)
    assert ws.rows(TOLD) == [("by 1 never closed, such as A", 3)]
    assert f"3 × jobs: {NEVER_CLOSED}: by 1 never closed, such as A" in str(report)
    ws.write("jobs.csv", csv_of(visit("A", "U1", 1), *FORGOTTEN[1:]))
    ws.load(MAPPING, keep=keep)
    assert ws.rows(TOLD) == [], "closed in its source, it is told no more"


def test_the_page_and_the_answers_say_it(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(csv_of(*FORGOTTEN))
    (tmp_path / "sources.toml").write_text(
        '[workspace]\nzone = "UTC"\n[files.f]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
    )
    rqa.load(tmp_path)
    with rqa.open(tmp_path) as depot:
        ends = dict(depot.data.loose_ends().table.rows())
        notes = " ".join(depot.data.overlaps().notes)
        facts = describe(depot, "2024-03")
        assert depot.comebacks(window=5).table["jobs"].to_list() == [2]
    assert ends["job never closed that overlaps others on its unit"] == 1
    assert "1 of them was never closed, and so overlaps every later job of the unit" in notes
    assert "1 of them was never closed" in facts.intake_words
    cells = [cell for table in facts.intake for row in table.rows for cell in row]
    assert NEVER_CLOSED in cells
    assert "job never closed that overlaps others on its unit" in cells


VISITS = st.tuples(st.integers(1, 20), st.sampled_from((1, 2, None)))


@settings(max_examples=examples(15))
@given(visits=st.lists(VISITS, min_size=1, max_size=6, unique_by=lambda v: v[0]))
def test_it_counts_the_closed_jobs_that_are_left_out(tmp_path_factory: pytest.TempPathFactory, visits: Any) -> None:
    """Where nothing else overlaps (two days lie between any two openings), by the same rule as the linking."""
    ws = Workspace(tmp_path_factory.mktemp("visits"))
    spaced = [visit(f"J{i}", "U1", 1 + 3 * i, days) for i, (_, days) in enumerate(sorted(visits))]
    ws.write("jobs.csv", csv_of(*spaced))
    ws.load(MAPPING, keep=keep)
    left_out = ws.one("select count(*) from overlapping_jobs where closed_at is not null")
    assert [rows for _, rows in ws.rows(TOLD)] == ([left_out] if left_out else [])
