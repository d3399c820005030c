"""A mapping that a person has written is only added to: new files, new months, new columns; all else stays as it is."""

import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from rqa.cli import main
from rqa.errors import MappingError
from rqa.proposals import propose
from rqa.store.load import load
from tests.propose.exports import at, jobs, table

MINE = """# my own words
[workspace]
title = 'Mine'   # kept

[files.orders]   # of the old system
path = "orders_2025.csv"
delimiter = ";"

[[table]]
table = "jobs"
from = "orders"
[table.columns]
job_id = "Order"      # this is right
unit_id = { column = "Serial", replace = [["^S", ""]] }
model = "Kind"
site = { constant = "North" }
procedure = { constant = "swap" }
opened_at = "In"
closed_at = "Out"
disposition = { column = "State", values = { ok = "repaired", wait = "open" } }

# The steps come by post.
"""
COLUMNS = ["Order", "Serial", "Kind", "In", "Out", "State"]


def orders(first: int, columns: list[str] = COLUMNS, *, more: tuple[str, ...] = ()) -> str:
    rows = [[j.number + first, f"S{j.unit}", j.model, at(j.opened, "%Y-%m-%d %H:%M:%S"), at(j.closed,
                                                                                            "%Y-%m-%d %H:%M:%S"),
             "wait" if j.closed is None else "ok", *more] for j in jobs(30)]
    return table(columns, rows, ";")


def accepted(folder: Path, of: str) -> int:
    report = load(folder, version="0", keep=lambda connection, before: None, write=False)
    return sum(f.accepted for f in report.files if f.table == of)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "sources.toml").write_text(MINE)
    (tmp_path / "orders_2025.csv").write_text(orders(0))
    return tmp_path


def test_where_nothing_is_new_nothing_is_written(folder: Path) -> None:
    made = propose(folder, update=True)
    assert made.added == ()
    assert (folder / "sources.toml").read_text() == MINE


def test_a_file_of_the_same_columns_joins_its_set(folder: Path) -> None:
    (folder / "orders_2026.csv").write_text(orders(500))
    made = propose(folder, update=True)
    text = (folder / "sources.toml").read_text()
    assert made.added == ("files.orders: path takes orders_2026.csv too",)
    assert tomllib.loads(text)["files"]["orders"]["path"] == ["orders_2025.csv", "orders_2026.csv"]
    assert [line for line in MINE.splitlines() if line not in text.splitlines()] == ['path = "orders_2025.csv"']
    assert accepted(folder, "jobs") == 60


def test_new_columns_and_new_files_are_added_and_what_is_written_stays(folder: Path) -> None:
    (folder / "orders_2025.csv").write_text(orders(0, [*COLUMNS, "Technician", "Labour min"], more=("Ann", "30")))
    (folder / "steps.csv").write_text("order,step,result,finished\n" + "".join(
        f"{j.number},open,done,{j.opened:%Y-%m-%d %H:%M:%S}\n" for j in jobs(30)))
    made = propose(folder, update=True)
    text = (folder / "sources.toml").read_text()
    plain = tomllib.loads(text)
    assert plain["table"][0]["columns"] == tomllib.loads(MINE)["table"][0]["columns"] | {
        "technician": "Technician", "labour_minutes": "Labour min"}
    assert (plain["table"][1]["table"], plain["table"][1]["columns"]["ended_at"]) == ("steps", "finished")
    assert [line for line in MINE.splitlines() if line not in text.splitlines()] == []
    assert text.index("technician =") < text.index("# The steps come by post.")
    assert len(made.added or ()) == 3
    assert (accepted(folder, "jobs"), accepted(folder, "steps")) == (30, 30)
    assert propose(folder, update=True).added == ()


def test_a_mapping_that_cannot_be_read_is_told_and_left(folder: Path) -> None:
    (folder / "sources.toml").write_text(MINE.replace("[[table]]", "[[tabel]]"))
    with pytest.raises(MappingError, match="tabel"):
        propose(folder, update=True)
    assert "tabel" in (folder / "sources.toml").read_text()


def test_a_second_sheet_is_new_though_its_workbook_is_known(tmp_path: Path) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(str(tmp_path / "all.xlsx")) as book:
        for name, head, row in (("Orders", COLUMNS, ["1", "S1", "K", "2025-01-01 10:00:00", "2025-01-02 10:00:00",
                                                     "ok"]),
                                ("Parts", ["Order", "Part no", "Qty"], ["1", "P-1", "2"])):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, head)
            sheet.write_row(1, 0, row)
    (tmp_path / "sources.toml").write_text(MINE.replace('"orders_2025.csv"', '"all.xlsx"').replace('delimiter = ";"',
                                                                                                   ""))
    made = propose(tmp_path, update=True)
    assert [s.group.first.part for s in made.proposed.sets] == ["Parts"]
    assert accepted(tmp_path, "parts") == 1


def test_the_command_adds_and_inspects(folder: Path) -> None:
    (folder / "orders_2026.csv").write_text(orders(500))
    done = CliRunner().invoke(main, ["map", str(folder), "--update"])
    assert done.exit_code == 0, done.output
    assert "1 addition" in done.output
    assert "16 settings that stood there before are unchanged" in done.output
    assert done.output.count("orders_2026.csv") >= 2


def test_the_command_says_so_where_nothing_is_new(folder: Path) -> None:
    done = CliRunner().invoke(main, ["map", str(folder), "--update"])
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "Nothing new" in said
    assert "stays as it was" in said
    assert "Written to" not in said
