"""A depot is looked at from a day with data: not from one before it, none to come, and no further than was seen."""

import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import rqa
from rqa.cli import main
from rqa.errors import RequestError
from tests.depots import make_store

FIRST, LAST = datetime(2024, 3, 1, 9), datetime(2024, 7, 30, 17)
TODAY = datetime.now(UTC).date()


def jobs() -> list[dict[str, Any]]:
    """A job a day, the latest closed as the data ends; every fourth comes back after ten days."""
    made: list[dict[str, Any]] = []
    for n in range(150):
        opened = FIRST + timedelta(days=n)
        made.append({"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": opened, "closed_at": opened})
        again = opened + timedelta(days=10)
        if n % 4 == 0 and again < LAST:
            made.append({"job_id": f"R{n}", "unit_id": f"U{n}", "opened_at": again, "closed_at": again})
    return [*made, {"job_id": "END", "unit_id": "END", "opened_at": LAST, "closed_at": LAST}]


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        loaded = [{"load_id": 1, "source_file": "jobs.csv", "table_name": "jobs"}]
        make_store(Path(name) / "depot.duckdb", {"jobs": jobs(), "load_files": loaded})
        yield Path(name)


def rate(folder: Path, as_of: object) -> tuple[int, int, str]:
    with rqa.open(folder, as_of=as_of) as depot:  # type: ignore[arg-type]
        answer = depot.comebacks(window=30)
    matured, returned = answer.table.select("matured", "returned").row(0)
    return matured, returned, " ".join(answer.notes)


@pytest.mark.parametrize("days", [3, 40, None])
def test_a_day_after_the_data_matures_no_job_that_was_not_followed(folder: Path, days: int | None) -> None:
    """Today, with data some days old, is what people give; jobs mature up to the last day in the store."""
    asked = TODAY if days is None else LAST.date() + timedelta(days=days)
    matured, returned, notes = rate(folder, asked)
    assert (matured, returned) == rate(folder, None)[:2] == rate(folder, LAST.date())[:2]
    assert f"Asked for as of {asked}, but the latest day in the store is 2024-07-30" in notes
    assert "Asked for" not in rate(folder, LAST.date())[2]


def test_a_day_with_data_is_taken_as_it_is(folder: Path) -> None:
    assert rate(folder, "2024-05-15")[0] < rate(folder, "2024-06-15")[0] < rate(folder, None)[0]


@pytest.mark.parametrize("asked", [TODAY + timedelta(days=2), date(2099, 1, 1), "2099-01-01T10:00:00"])
def test_a_day_to_come_is_refused(folder: Path, asked: object) -> None:
    with pytest.raises(RequestError, match=r"is still to come, and the store's data is of 2024-03-01 to 2024-07-30"):
        rate(folder, asked)


@pytest.mark.parametrize("asked", ["2024-02-29", date(1999, 12, 31)])
def test_a_day_before_the_data_is_refused(folder: Path, asked: object) -> None:
    with pytest.raises(RequestError, match=r"is before all data; the store's data is of 2024-03-01 to 2024-07-30"):
        rate(folder, asked)
    assert rate(folder, "2024-03-01")[0] == 0


@pytest.mark.parametrize(("asked", "said"), [("2099-01-01", "still to come"), ("2020-01-01", "before all data")])
def test_no_page_is_written_of_such_a_day(folder: Path, tmp_path: Path, asked: str, said: str) -> None:
    page = tmp_path / "page.html"
    done = CliRunner().invoke(main, ["review", str(folder), "--as-of", asked, "--to", str(page)])
    assert done.exit_code == 1
    assert said in done.output
    assert not page.exists()


def test_the_page_of_today_is_that_of_the_last_whole_month_with_data(folder: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = CliRunner().invoke(main, ["review", str(folder), "--as-of", TODAY.isoformat(), "--to", str(page)])
    assert done.exit_code == 0, done.output
    assert "June 2024" in done.output
    assert "the latest day in the store is 2024-07-30" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("asked", ["2020-01-01", TODAY.isoformat()])
def test_of_an_empty_store_nothing_can_be_said_against_a_day(tmp_path: Path, asked: str) -> None:
    make_store(tmp_path / "depot.duckdb", {})
    with rqa.open(tmp_path, as_of=asked) as depot:
        assert depot.as_of.date().isoformat() == asked


@pytest.mark.parametrize(("zone", "closed"), [
    ("Asia/Tokyo", "2024-07-30"), ("Europe/Warsaw", "2024-07-30"), ("UTC", "2024-07-30"),
    ("America/Los_Angeles", "2024-07-30T22:30"),
])
def test_the_latest_day_is_that_of_the_site(tmp_path: Path, zone: str, closed: str) -> None:
    """Midnight in Tokyo is the day before in UTC, an evening in California the day after; neither moves the day."""
    head, first = "job_id,unit_id,disposition,opened_at,closed_at", "A,U,repaired,2024-06-30,2024-06-30"
    text = f"{head}\n{first}\nB,V,repaired,{closed},{closed}\n"
    (tmp_path / "jobs.csv").write_text(text, encoding="utf-8")
    (tmp_path / "sources.toml").write_text(
        f'[workspace]\nzone = "{zone}"\n[files.jobs]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "jobs"\n'
        '[table.columns]\nmodel = { constant = "M" }\nsite = { constant = "S" }\nprocedure = { constant = "P" }\n',
        encoding="utf-8",
    )
    assert not rqa.load(tmp_path).alarms
    with rqa.open(tmp_path) as depot:
        assert depot.as_of.date() == LAST.date()
        assert depot.comebacks(window=30).table.select("jobs", "matured").row(0) == (2, 1)
    with rqa.open(tmp_path, as_of="2024-07-30") as depot:
        assert depot.comebacks(window=30).table.select("jobs", "matured").row(0) == (2, 1)
