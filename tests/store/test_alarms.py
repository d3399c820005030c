"""A load that most likely went wrong as a whole says so first, and ends with a code that a job can stop at."""

from collections import Counter
from typing import Any

import polars as pl
import pytest
from click.testing import CliRunner

from rqa.cli import WENT_WRONG, main
from rqa.store.report import SHOWN, LoadReport
from tests.workspaces import Workspace, csv_of, job

ROWS = [job(f"J{i}", unit_id=f"U{i % 2}", closed_at=f"2024-04-{i:02d} 10:00:00") for i in range(1, 10)]
TOML = """
[workspace]
zone = "UTC"
[files.f]
path = "*.csv"
{files}
[[table]]
table = "jobs"
from = "f"
{table}
"""


def mapping(
    files: dict[str, Any] | None = None, workspace: dict[str, Any] | None = None, **table: Any
) -> dict[str, Any]:
    return {
        "workspace": {"zone": "UTC", **(workspace or {})},
        "files": {"f": {"path": "*.csv", **(files or {})}},
        "table": [{"table": "jobs", "from": "f", **table}],
    }


def kept(ws: Workspace, report: LoadReport) -> tuple[int, int]:
    """How many rows this load put into `superseded` as replaced, and as withdrawn."""
    rows = ws.rows(f"select reason, count(*) from superseded where load_id = {report.load_id} group by all")
    found = Counter[str](dict(rows))
    replaced = found.pop("its file gives another row for it", 0)
    found.pop("a later row has its key", None)
    return replaced, sum(found.values())


def test_most_rows_refused_is_said_first_with_the_reason_and_what_to_check(ws: Workspace) -> None:
    wrong = [r | {"disposition": "mended"} for r in ROWS[:5]]
    ws.write("jobs.csv", csv_of(*wrong, *ROWS[5:]))
    ws.write("more.csv", csv_of(job("K", disposition="mended"), job("L"), job("M")))
    report = ws.load(mapping())
    (said,) = report.alarms
    assert said.startswith("5 of 9 rows of jobs.csv (jobs) were refused, 5 for disposition: not one of ")
    assert said.endswith("first 'mended' in row 2. Check `values` of that column.")
    assert report.text().splitlines()[0] == f"CAUTION: {said}"
    # What is still refused is still said, though the file is not read again.
    assert ws.load(mapping()).alarms == report.alarms


@pytest.mark.parametrize(
    ("form", "swapped", "refused"),
    [("%m.%d.%Y %H:%M", "%d.%m.%Y %H:%M", 18), ("%d.%m.%Y %H:%M", None, 0), ("%Y.%m.%d %H:%M", None, 30)],
)
def test_rows_whose_day_and_month_are_most_likely_swapped_are_told(
    ws: Workspace, form: str, swapped: str | None, refused: int
) -> None:
    """A wrong format that takes the days up to the 12th goes half through, and all that it takes is wrong."""
    times = {"opened_at": "{:02d}.01.2024 10:00", "closed_at": "{:02d}.01.2024 12:00"}
    rows = [job(f"J{i}", unit_id=f"U{i}", **{n: t.format(i) for n, t in times.items()}) for i in range(1, 31)]
    ws.write("jobs.csv", csv_of(*rows))
    report = ws.load(mapping({"times": form}))
    assert report.total("refused") == refused
    said = [a for a in report.alarms if "day and month swapped" in a]
    assert bool(said) is (swapped is not None)
    for alarm in said:
        assert alarm.startswith("12 rows of jobs.csv (jobs) most likely have day and month swapped: ")
        assert alarm.endswith(f"Write {swapped} in `times` of its files.")


def test_a_mistyped_date_is_no_swapped_format(ws: Workspace) -> None:
    rows = [job(f"J{i}", unit_id=f"U{i}", opened_at=f"{i:02d}.01.2024", closed_at="31.01.2024") for i in range(1, 31)]
    ws.write("jobs.csv", csv_of(*rows, job("X", opened_at="01.13.2024", closed_at="31.01.2024")))
    assert ws.load(mapping({"times": "%d.%m.%Y"})).alarms == ()


def test_withdrawn_and_replaced_rows_are_as_many_in_the_report_as_in_the_table(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(*ROWS, job("J1", model="corrected")))
    first = ws.load(mapping())
    changed = ws.load(mapping(columns={"complaint": "model"}))
    narrow = ws.load(mapping(columns={"complaint": "model"}, where="job_id > 'J6'"))
    assert (first.alarms, changed.alarms) == ((), ())
    assert [(r.total("replaced"), r.total("withdrawn")) for r in (changed, narrow)] == [(10, 0), (0, 7)]
    assert kept(ws, narrow) == (0, 7)
    assert "Also replaced 10 rows of the store" in changed.text()
    (said,) = narrow.alarms
    assert said.startswith("7 of the 10 rows that the store had of jobs.csv (jobs) are withdrawn")
    nothing = ws.load(mapping(where="model = 'x'"))
    assert [a[:34] for a in nothing.alarms] == [
        "3 of the 3 rows that the store had",
        "nothing is loaded into jobs: its files"[:34],
    ]


@pytest.mark.parametrize("content", ["", csv_of(ROWS[0]).splitlines()[0] + "\n"], ids=["empty", "a header"])
def test_a_file_without_a_row_is_remarked_on_and_is_no_failure(ws: Workspace, content: str) -> None:
    """As the README has it: some logs begin empty; what `where` leaves out of a file with rows is another matter."""
    ws.write("jobs.csv", content)
    ws.write("sources.toml", TOML.format(files="", table=""))
    call = CliRunner().invoke(main, ["load", str(ws.folder)])
    assert call.exit_code == 0
    assert "CAUTION" not in call.output
    assert "gives no row: it is empty, or holds only a header" in call.output
    ws.write("jobs.csv", csv_of(*ROWS))
    ws.write("sources.toml", TOML.format(files="", table="where = \"model = 'x'\""))
    call = CliRunner().invoke(main, ["load", str(ws.folder)])
    assert call.exit_code == WENT_WRONG
    assert call.output.startswith(f"CAUTION: nothing is loaded into jobs: its files hold {len(ROWS)} rows")


@pytest.mark.parametrize("vanished", ["keep", "withdraw"])
def test_a_file_that_is_gone_counts_alike_everywhere(ws: Workspace, vanished: str) -> None:
    ws.write("jobs.csv", csv_of(*ROWS, job("J1", model="corrected")))
    ws.write("other.csv", csv_of(job("K"), job("L")))
    of = mapping(workspace={"vanished": vanished})
    ws.load(of)
    (ws.folder / "jobs.csv").unlink()
    report = ws.load(of)
    gone = [r.rows for r in report.remarks if "is gone" in r.remark]
    assert kept(ws, report) == (0, report.total("withdrawn"))
    if vanished == "keep":
        assert (gone, report.total("withdrawn")) == (
            [ws.one("select count(*) from jobs where source_file = 'jobs.csv'")],
            0,
        )
    else:
        # The mapping asks for it, so it is no failure.
        assert (gone, report.total("withdrawn"), report.alarms) == ([], 10, ())


def test_commands_end_with_a_code_of_their_own_and_all_shows_every_kind(ws: Workspace) -> None:
    values = dict.fromkeys(job(), "?") | {"job_id": "", "unit_id": "", "model": "", "site": "", "procedure": ""}
    wrong = [ROWS[0] | {name: values[name]} for name in list(values)[:8]]
    tool = csv_of(*(r | {"labour_minutes": "-1", "parts_cost": "x", "freight_cost": "x"} for r in wrong))
    ws.write("jobs.csv", tool)
    ws.write("sources.toml", TOML.format(files="", table=""))
    call = CliRunner().invoke(main, ["inspect", str(ws.folder)])
    assert call.exit_code == WENT_WRONG
    assert call.output.startswith("CAUTION: 8 of 8 rows of jobs.csv (jobs) were refused")
    assert "table `refused`" not in call.output
    kinds = call.output.split("Refused (")[1].split("\n\n")[0].splitlines()[1:]
    assert len(kinds) == SHOWN + 1
    assert kinds[-1].endswith("more kinds (--all shows each)")
    every = CliRunner().invoke(main, ["inspect", str(ws.folder), "--all"])
    assert "more kinds" not in every.output
    assert len(every.output.split("Refused (")[1].split("\n\n")[0].splitlines()[1:]) == 11
    ws.write("jobs.csv", csv_of(*ROWS))
    assert CliRunner().invoke(main, ["load", str(ws.folder)]).exit_code == 0


def test_rows_of_a_frame_that_is_not_given_again_are_not_said_to_have_lost_a_file(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(*ROWS))
    ws.load(mapping(), frames={"steps": pl.DataFrame([{"job_id": "J1", "step": "open", "outcome": "pass"}])})
    report = ws.load(mapping())
    (said,) = [str(r) for r in report.remarks if r.table == "steps"]
    assert "no frame of its name was handed to this load; its rows are kept" in said
    assert "file is gone" not in report.text()
