"""Folders of which no mapping can be made, or not of all: a clear message, never a crash, nothing overwritten."""

import gzip
import json
import random
import sqlite3
import tomllib
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from rqa.cli import main
from rqa.errors import MappingError, SourceError
from rqa.proposals import propose
from rqa.proposals.columns import facts_of
from rqa.proposals.found import files_in, look_through
from rqa.store.load import load
from rqa.store.looked import looking
from tests.cases import some_slow
from tests.propose.exports import SHOPS

ROWS = "job,serial,model,opened,closed,result\n" + "".join(
    f"J{i},S{i},M1,2025-01-{i:02} 10:00:00,2025-01-{i + 1:02} 10:00:00,repaired\n" for i in range(1, 21)
)


def test_a_folder_without_logs_is_told(tmp_path: Path) -> None:
    with pytest.raises(MappingError, match="holds no file that could be a log"):
        propose(tmp_path)
    with pytest.raises(MappingError, match="is not a folder"):
        propose(tmp_path / "none")


def test_a_mapping_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(ROWS)
    (tmp_path / "sources.toml").write_text("# mine\n")
    with pytest.raises(MappingError, match="is there already, and is never overwritten"):
        propose(tmp_path)
    assert (tmp_path / "sources.toml").read_text() == "# mine\n"


def test_each_file_that_is_no_table_says_why_and_the_others_are_mapped(tmp_path: Path) -> None:
    (tmp_path / "good.csv").write_text(ROWS)
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "blank.csv").write_bytes(b"\n\n\n")
    (tmp_path / "noise.csv").write_bytes(bytes(range(256)) * 50)
    (tmp_path / "wide.csv").write_text(",".join(f"c{i}" for i in range(600)) + "\n")
    (tmp_path / "twice.csv").write_text("a,b,A\n1,2,3\n")
    (tmp_path / "list.json").write_text(json.dumps({"a": [1, 2], "c": "x"})[:-3])
    (tmp_path / "cut.csv.gz").write_bytes(gzip.compress(ROWS.encode())[:-30])
    (tmp_path / "page.txt").write_text("<!DOCTYPE html><html></html>")
    (tmp_path / "broken.xlsx").write_bytes(b"PK\x03\x04 nothing of a workbook")
    (tmp_path / "old.parquet").write_bytes(b"PAR1 no parquet at all \x00 PAR1")
    (tmp_path / "no.db").write_bytes(b"SQLite format 3\x00" + b"\x07" * 200)
    (tmp_path / "all.zip").write_bytes(b"PK\x03\x04 nothing of an archive")
    with zipfile.ZipFile(tmp_path / "odd.zip", "w") as archive:
        archive.writestr("a.exe", b"MZ")
    made = propose(tmp_path)
    assert {k: v for k, v in made.not_read.items() if not v} == {}
    for name, said in {
        "empty.csv": "is empty", "blank.csv": "nothing but blank lines", "noise.csv": "is no table",
        "wide.csv": "600 columns", "twice.csv": "more than once", "list.json": "no valid JSON",
        "cut.csv.gz": "cannot be read to its end", "page.txt": "a web page", "broken.xlsx": "damaged",
        "old.parquet": "no readable Parquet", "no.db": "no readable SQLite", "all.zip": "a damaged zip archive",
        "odd.zip, a.exe": "its ending tells no format",
    }.items():
        assert said in made.not_read[name], name
        assert f"# {name}: " in made.text
    plain = tomllib.loads(made.text)
    assert [(e["table"], e["from"]) for e in plain["table"]] == [("jobs", "good")]


def test_a_link_that_leads_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "secret.csv").write_text(ROWS)
    (inside / "jobs.csv").write_text(ROWS)
    (inside / "more.csv").symlink_to(tmp_path / "secret.csv")
    made = propose(inside)
    assert "leads out of the folder" in made.not_read["more.csv"]
    assert tomllib.loads(made.text)["files"]["jobs"]["path"] == "jobs.csv"


def test_a_file_without_a_header_is_numbered_and_no_column_is_guessed(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(ROWS.split("\n", 1)[1])
    made = propose(tmp_path)
    assert not made.complete
    assert "'1', '2', '3'" in made.text
    with looking(files_in(tmp_path)) as looked:
        (group,) = look_through(tmp_path, files_in(tmp_path), looked).groups
        looked.take(group.first.source(group.name, group.labels[0]))
        facts = facts_of(group, looked)
    assert group.first.settings["header_row"] == 0
    assert (facts["1"].rows, facts["4"].times is not None) == (20, True)


def test_columns_that_hold_the_same_are_doubted(tmp_path: Path) -> None:
    lines = ["Order no,Order number,Serial,Model,Opened,Closed,Result"]
    lines += [f"A{i},A{i},S{i},M,2025-03-01 10:00:00,2025-03-02 10:00:00,repaired" for i in range(30)]
    (tmp_path / "jobs.csv").write_text("\n".join(lines) + "\n")
    made = propose(tmp_path)
    assert "jobs.job_id" in made.checks
    assert "as well" in made.text


def test_three_hundred_columns_do_no_harm(tmp_path: Path) -> None:
    head = ["job", "serial", "model", "opened", "closed", "result", *(f"extra {i}" for i in range(294))]
    row = ["J1", "S1", "M", "2025-01-01 10:00:00", "2025-01-02 10:00:00", "repaired", *("x" for _ in range(294))]
    (tmp_path / "jobs.csv").write_text("\n".join([",".join(head), *([",".join(row)] * 5)]) + "\n")
    made = propose(tmp_path)
    assert made.complete
    assert "and 264 more" in made.text


def test_headers_with_quotes_line_ends_and_signs_make_a_mapping_that_can_be_read(tmp_path: Path) -> None:
    head = 'job,"ser""ial ""no""","mo\ndel","ope\tned",closed,result,"\x1b[31mred"\n'
    body = "".join(f"J{i},S{i},M,2025-01-01 10:00:00,2025-01-02 10:00:00,repaired,1\n" for i in range(9))
    (tmp_path / "jobs.csv").write_text(head + body)
    made = propose(tmp_path)
    tomllib.loads(made.text)
    assert "\x1b" not in made.text


def test_a_database_without_tables_and_an_empty_table(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "a.db").close()
    with sqlite3.connect(tmp_path / "b.db") as db:
        db.execute("create table jobs (job, serial, model, opened, closed, result)")
    db.close()
    made = propose(tmp_path)
    assert "a.db" in made.not_read
    assert "0 rows" in str(made)


def test_the_command_writes_the_mapping_and_shows_the_first_inspect(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(ROWS)
    done = CliRunner().invoke(main, ["map", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert "taken for jobs" in done.output
    assert "20" in done.output.split("before anything is checked")[1]
    again = CliRunner().invoke(main, ["map", str(tmp_path)])
    assert again.exit_code == 1
    assert "never overwritten" in again.output


def test_the_command_ends_with_1_where_no_table_is_complete(tmp_path: Path) -> None:
    (tmp_path / "weather.csv").write_text("wind,rain\n1,2\n3,4\n")
    done = CliRunner().invoke(main, ["map", str(tmp_path)])
    assert done.exit_code == 1
    assert "no table in it is complete" in done.output


@pytest.mark.parametrize("seed", some_slow(range(6), 2))
def test_damaged_files_are_told_and_never_end_in_another_error(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    SHOPS[seed * 2 % len(SHOPS)](tmp_path)
    for path in [p for p in sorted(tmp_path.rglob("*")) if p.is_file()][:6]:
        content = bytearray(path.read_bytes())
        for _ in range(rng.randint(1, 40)):
            content[rng.randrange(len(content))] = rng.choice((0, 10, 13, 34, 44, 59, 255, rng.randrange(256)))
        path.write_bytes(content[: rng.randrange(len(content) // 2, len(content))])
    said, text = "", ""
    try:
        text = propose(tmp_path).text
    except MappingError as error:
        said = str(error)
    assert said or tomllib.loads(text)["workspace"]["title"] == tmp_path.name


def test_an_archive_of_an_unknown_kind_is_told(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "jobs.xlsx", "w") as archive:
        archive.writestr("a", "b")
    content = bytearray((tmp_path / "jobs.xlsx").read_bytes())
    # The version needed to unpack, in the central directory (a signature, the version made by, this).
    content[content.index(b"PK\x01\x02") + 6] = 99
    (tmp_path / "jobs.xlsx").write_bytes(content)
    assert "damaged workbook" in propose(tmp_path, write=False).not_read["jobs.xlsx"]
    mapping = {"files": {"f": {"path": "jobs.xlsx"}}, "table": [{"table": "jobs", "from": "f"}]}
    with pytest.raises(SourceError, match="no readable workbook"):
        load(tmp_path, version="0", mapping=mapping, keep=lambda connection, before: None, write=False)


def test_a_job_without_number_and_unit_is_left_to_be_filled(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Model,Opened,Closed,Result,Procedure\n" + "\n".join(
        f"M,2025-01-{i:02} 10:00:00,2025-01-{i:02} 12:00:00,repaired,swap" for i in range(1, 20)) + "\n")
    made = propose(tmp_path)
    assert not made.complete
    assert "needs job_id, unit_id" in made.text
