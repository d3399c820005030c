"""What is added to a mapping keeps its promises: no plain name, no row twice, no line that refuses rows."""

import tomllib
from pathlib import Path

import pytest

from rqa.intake.copies import Copies
from rqa.intake.sources import SourceFile
from rqa.proposals import propose
from rqa.store.looked import looking
from tests.propose.exports import at, jobs, table
from tests.propose.test_update import COLUMNS, MINE, accepted, orders
from tests.workspaces import Workspace

PEOPLE = ("Ann Bee", "Cid Dee", "Eva Fox")


def keyed(ws: Workspace, said: str = MINE) -> str:
    """A mapping with a key file, and its orders; returns the key file's path."""
    key = str(ws.write("../safe/key", b"secret").resolve())
    ws.write("orders_2025.csv", orders(0, [*COLUMNS, "Who"], more=("Ann Bee",)))
    ws.write("sources.toml", said.replace(
        'opened_at = "In"', f'opened_at = "In"\ntechnician = {{ column = "Who", key_file = "{key}" }}'))
    return key


def steps(*, events: bool = False) -> str:
    rows = [
        [j.number, step, PEOPLE[j.number % 3], *([kind] if events else ["done"]), at(j.opened, "%Y-%m-%d %H:%M:%S")]
        for j in jobs(30) for step in ("open", "test") for kind in (("start", "end") if events else ("",))
    ]
    return table(["order", "step", "Operator", "event" if events else "result", "time" if events else "finished"],
                 rows, ",")


@pytest.mark.parametrize("events", [False, True])
def test_where_the_mapping_has_a_key_file_no_name_of_a_new_file_is_stored(ws: Workspace, events: bool) -> None:
    key = keyed(ws)
    ws.write("steps.csv", steps(events=events))
    made = propose(ws.folder, update=True)
    entry = tomllib.loads(made.text)["table"][1]
    assert entry["columns"]["technician"] == {"column": "Operator", "key_file": key}
    assert "steps.technician" in made.checks
    ws.load()
    assert ws.one("select count(distinct technician) from steps") == 3
    assert [n for n in PEOPLE if n.encode() in ws.store.read_bytes()] == []


def test_a_new_column_of_people_takes_the_key_file_too(ws: Workspace) -> None:
    text = MINE + """
[files.steps]
path = "steps.csv"
[[table]]
table = "steps"
from = "steps"
[table.columns]
job_id = "order"
outcome = "result"
ended_at = "finished"
"""
    key = keyed(ws, text)
    ws.write("steps.csv", steps())
    made = propose(ws.folder, update=True)
    assert tomllib.loads(made.text)["table"][1]["columns"]["technician"] == {"column": "Operator", "key_file": key}


def test_with_a_key_file_no_file_is_copied_to_a_disk(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    placed: list[tuple[str, bool]] = []
    place = Copies.place

    def seen(self: Copies, source: SourceFile, name: str) -> Path:
        path = place(self, source, name)
        placed.append((source.label, path.is_symlink() and "/proc/" in str(path.readlink())))
        return path

    monkeypatch.setattr(Copies, "place", seen)
    keyed(ws, MINE.replace('delimiter = ";"', 'delimiter = ";"\nencoding = "cp1250"'))
    ws.write("orders_2025.csv", orders(0, [*COLUMNS, "Who"], more=("Zoë Łuk",)).encode("cp1250", "replace"))
    ws.write("steps.csv", steps().replace("Ann Bee", "Zoë Łuk").encode("cp1250", "replace"))
    propose(ws.folder, update=True)
    assert {label for label, _ in placed} == {"orders_2025.csv", "steps.csv"}
    assert all(in_memory for _, in_memory in placed)


@pytest.mark.parametrize("number", [0, 1])
def test_a_sheet_that_the_mapping_names_by_its_number_is_not_added_again(tmp_path: Path, number: int) -> None:
    import xlsxwriter

    sheets = [["Order", "Part no", "Qty"], COLUMNS] if number else [COLUMNS, ["Order", "Part no", "Qty"]]
    rows = {"Order": ["1", "S1", "K", "2025-01-01 10:00:00", "2025-01-02 10:00:00", "ok"]}

    def book(name: str) -> None:
        with xlsxwriter.Workbook(str(tmp_path / name)) as made:
            for place, head in enumerate(sheets):
                sheet = made.add_worksheet(f"Sheet {place}")
                sheet.write_row(0, 0, head)
                sheet.write_row(1, 0, rows["Order"] if head == COLUMNS else ["1", "P-1", "2"])

    book("all_1.xlsx")
    (tmp_path / "sources.toml").write_text(MINE.replace('"orders_2025.csv"', '"all_1.xlsx"').replace(
        'delimiter = ";"', f"sheet = {number}"))
    assert accepted(tmp_path, "jobs") == 1
    made = propose(tmp_path, update=True)
    assert [s.group.first.part for s in made.proposed.sets] == [f"Sheet {1 - number}"]
    assert propose(tmp_path, update=True).added == ()
    book("all_2.xlsx")
    plain = tomllib.loads(propose(tmp_path, update=True).text)
    assert plain["files"]["orders"]["path"] == ["all_1.xlsx", "all_2.xlsx"]
    assert [e["table"] for e in plain["table"]] == ["jobs", "parts"]


def test_what_is_sealed_is_not_spilled_to_a_disk() -> None:
    for sealed in (False, True):
        with looking([], sealed=sealed) as looked:
            found = looked.connection.execute("select current_setting('temp_directory')").fetchall()
            assert bool(found[0][0]) is not sealed


@pytest.mark.parametrize(("column", "target", "said"), [
    ("Out", "closed_at", "add '%d.%m.%Y %H:%M' to times first"), ("Parts cost", "parts_cost", "decimal mark is ','"),
])
def test_a_new_column_that_the_mapping_cannot_read_waits_behind_a_sign(
    tmp_path: Path, column: str, target: str, said: str
) -> None:
    mine = MINE.replace('closed_at = "Out"\n', "") if column == "Out" else MINE
    (tmp_path / "sources.toml").write_text(mine)
    out = "%d.%m.%Y %H:%M" if column == "Out" else "%Y-%m-%d %H:%M:%S"
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, "%Y-%m-%d %H:%M:%S"), at(j.closed, out),
             "wait" if j.closed is None else "ok", f"{j.number},50"] for j in jobs(30)]
    (tmp_path / "orders_2025.csv").write_text(
        table([*COLUMNS, "Parts cost" if column != "Out" else "Memo"], rows, ";"))
    made = propose(tmp_path, update=True)
    assert tomllib.loads(made.text)["table"] == tomllib.loads(mine)["table"]
    assert [a for a in made.added or () if f"{target} from {column!r}, behind a #" in a] == list(made.added or ())
    assert said in made.text
    assert f'\n# {target} = "{column}"' in made.text
    assert propose(tmp_path, update=True).added == ()
