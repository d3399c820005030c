"""Broken files and mappings: each is read rightly, or is one clear error; a file that is not empty is never silent."""

import gzip
import json
import os
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from random import Random
from typing import Any

import duckdb
import pytest

from rqa.errors import MappingError, SourceError, StoreError
from rqa.intake.column_source import ColumnSource
from rqa.intake.draft import read_mapping
from rqa.intake.own_actions import own_actions
from rqa.intake.values import SPACES
from rqa.store import readers as readings
from rqa.store.engine import open_store
from rqa.store.load import load
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

ROWS = [job("A"), job("B", opened_at="2024-03-01 09:00:00")]
TEXT = csv_of(*ROWS)
LINES = [json.dumps(r) for r in ROWS]
PACKED = gzip.compress(TEXT.encode())
MAPPING = '[files.f]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
FOREIGN = ("Traceback", "Python", "Error:", "pydantic", "Input should")
"""Words that no message of ours holds."""


def database(path: Path, rows: int = 2000) -> bytes:
    with closing(sqlite3.connect(path)) as connection:
        names = list(job())
        connection.execute(f"create table jobs ({', '.join(names)})")
        marks = ", ".join("?" for _ in names)
        given = [list(job(f"J{n}").values()) for n in range(rows)]
        connection.executemany(f"insert into jobs values ({marks})", given)
        connection.execute(
            "create view endless as with recursive r(n) as (select 1 union all select n + 1 from r) "
            "select n as job_id from r where n < 0"
        )
        connection.commit()
    return path.read_bytes()


def read(ws: Workspace, name: str, content: bytes, **reading: Any) -> tuple[int, int]:
    """How many rows were accepted and refused."""
    report = ws.jobs(content, name=name, **reading)
    assert report.total("read") or any("gives no row" in r.remark for r in report.remarks), "nothing, and in silence"
    return report.total("accepted"), report.total("refused")


READ: dict[str, tuple[str, bytes, dict[str, Any], tuple[int, int]]] = {
    # name: (file, content, how it is read, rows accepted and refused)
    "a blank first line": ("jobs.csv", ("\n" + TEXT).encode(), {}, (2, 0)),
    "header_row at a blank line": ("jobs.csv", ("title\n\n" + TEXT).encode(), {"header_row": 2}, (2, 0)),
    "zeros behind what is packed": ("jobs.csv.gz", PACKED + bytes(1000), {}, (2, 0)),
    "zeros behind packed JSON": ("jobs.jsonl.gz", gzip.compress("\n".join(LINES).encode()) + bytes(99), {}, (2, 0)),
    "packed in two parts": (
        "jobs.csv.gz", gzip.compress(TEXT[:150].encode()) + gzip.compress(TEXT[150:].encode()), {}, (2, 0)
    ),
    "comments in JSON": ("jobs.jsonl", "\n".join(["// by hand", *LINES]).encode(), {}, (2, 1)),
    "a comma behind each object": ("jobs.jsonl", ",\n".join(LINES).encode(), {}, (1, 1)),
}


@pytest.mark.parametrize("name", READ)
def test_read_rightly(ws: Workspace, name: str) -> None:
    file, content, reading, rows = READ[name]
    assert read(ws, file, content, **reading) == rows


TOLD: dict[str, tuple[str, bytes, dict[str, Any], str]] = {
    # name: (file, content, how it is read, what is told)
    "header_row past the end": ("jobs.csv", TEXT.encode(), {"header_row": 50}, "header_row is 50, and nothing is"),
    "objects on one line": ("jobs.jsonl", "".join(LINES).encode(), {}, "no line of it is one JSON object"),
    "objects on one line, set apart": ("jobs.jsonl", " ".join(LINES).encode(), {}, "no line of it is one JSON object"),
    "CSV as JSON": ("jobs.jsonl", TEXT.encode(), {}, "no line of it is one JSON object with a key; it begins 'job_id,"),
    "numbers as JSON": ("jobs.jsonl", b"1\n2\n", {}, "no line of it is one JSON object"),
    "junk behind what is packed": ("jobs.csv.gz", PACKED + b"junk", {}, "cannot be read to its end"),
    "packed and cut short": ("jobs.csv.gz", PACKED[:-9], {}, "cannot be read to its end"),
}


@pytest.mark.parametrize("name", TOLD)
def test_told_in_one_line(ws: Workspace, name: str) -> None:
    file, content, reading, part = TOLD[name]
    with pytest.raises(SourceError) as caught:
        read(ws, file, content, **reading)
    said = str(caught.value)
    assert part in said
    assert said.startswith(file)
    assert said.endswith("Nothing was loaded.")
    assert [f for f in FOREIGN if f in said] == []


def flipped(content: bytes) -> bytes:
    return content[:40_000] + bytes(b ^ 255 for b in content[40_000:41_000]) + content[41_000:]


@pytest.mark.parametrize(
    ("damage", "part"),
    [
        (lambda b: b[: len(b) // 2], "is no readable SQLite file"),
        (lambda b: b[:4096], "SQLite"),
        (lambda b: b.replace(b"opened_at", b"o\xd2ened_at"), "the name of a column is no UTF-8 text"),
        (flipped, "cannot be read to its end (database disk image is malformed)"),
    ],
)
def test_damaged_database_is_told(ws: Workspace, damage: Callable[[bytes], bytes], part: str) -> None:
    content = damage(database(ws.folder / "sound.db"))
    with pytest.raises(SourceError) as caught:
        read(ws, "jobs.db", content, table="jobs")
    assert part in str(caught.value)
    assert [f for f in FOREIGN if f in str(caught.value)] == []


def parquet(path: Path, compression: str) -> bytes:
    rows = duckdb.sql(f"select 'J' || i as job_id, {', '.join(f'md5(i::varchar) as {n}' for n in list(job())[1:])} "
                      "from range(3000) t(i)")
    rows.write_parquet(str(path), compression=compression)
    return path.read_bytes()


@pytest.mark.parametrize("compression", some_slow(["zstd", "snappy", "gzip", "uncompressed"], 1))
@pytest.mark.parametrize(
    ("seed", "columns"),
    [(None, {}), (1, {}), (2, {"complaint": {"sql": "lower(model)"}})],
    ids=["zeros", "any bytes", "beside SQL"],
)
def test_pages_of_parquet_that_are_overwritten_are_told_as_the_files_fault(
    ws: Workspace, compression: str, seed: int | None, columns: dict[str, Any]
) -> None:
    content = parquet(ws.folder / "sound.parquet", compression)
    # Apache Parquet's description of its format: "PAR1", the pages, the metadata, their length in 4 bytes, "PAR1".
    (footer,) = struct.unpack("<i", content[-8:-4])
    pages = len(content) - 8 - footer
    junk = bytes(pages - 4) if seed is None else Random(seed).randbytes(pages - 4)
    damaged = content[:4] + junk + content[pages:]
    with pytest.raises(SourceError) as caught:
        read(ws, "jobs.parquet", damaged, columns=columns)
    said = str(caught.value)
    assert said.startswith("jobs.parquet: cannot be read to its end (")
    assert said.endswith("). Fetch it again. Nothing was loaded.")
    assert str(ws.folder) not in said
    assert [f for f in FOREIGN if f in said] == []


def test_locked_database_is_told(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    content = database(ws.folder / "jobs.db", rows=2)
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **how: connect(*args, **{"timeout": 0, **how}))
    with closing(connect(ws.folder / "jobs.db", isolation_level=None)) as other:
        other.execute("begin exclusive")
        with pytest.raises(SourceError, match="is locked by the program that writes it"):
            ws.load({"files": {"f": {"path": "jobs.db", "table": "jobs"}}, "table": [{"table": "jobs", "from": "f"}]})
        other.execute("rollback")
    assert read(ws, "jobs.db", content, table="jobs") == (2, 0)


def test_a_view_without_end_is_stopped(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings, "VIEW_SECONDS", 0.2)
    content = database(ws.folder / "sound.db", rows=2)
    columns = {name: {"constant": value} for name, value in job().items() if name != "job_id"}
    with pytest.raises(SourceError, match="took too long to give its rows"):
        read(ws, "jobs.db", content, table="endless", columns=columns)


@pytest.mark.parametrize(
    "mapping",
    [
        {"files": [], "table": []},
        {"files": [{"path": "jobs.csv"}], "table": [{"table": "jobs", "from": "f"}]},
        {"files": "jobs.csv", "table": [{"table": "jobs", "from": "f"}]},
        {"files": {"f": "jobs.csv"}, "table": [{"table": "jobs", "from": "f"}]},
        {"files": {"f": {"path": {"a": 1}}}, "table": [{"table": "jobs", "from": "f"}]},
        {"files": {"f": {"path": "jobs.csv", "header_row": "two"}}, "table": [{"table": "jobs", "from": "f"}]},
        {"files": {"f": {"path": "jobs.csv"}}, "table": "jobs"},
        {"files": {"f": {"path": "jobs.csv"}}, "table": ["jobs"]},
        {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f", "columns": ["a"]}]},
        {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f", "columns": {"model": 1}}]},
        {"files": {"f": {"path": "."}}, "table": [{"table": "jobs", "from": "f"}]},
        {"files": {"f": {"path": "a**b"}}, "table": [{"table": "jobs", "from": "f"}]},
        {"workspace": [], "sites": 1, "files": None, "table": None},
        [1, 2],
        "jobs",
    ],
)
def test_a_mapping_of_another_shape_is_told_in_words(ws: Workspace, mapping: Any) -> None:
    ws.write("jobs.csv", TEXT)
    with pytest.raises(MappingError) as caught:
        load(ws.folder, version="0", keep=lambda connection, before: None, mapping=mapping)
    assert [f for f in FOREIGN if f in str(caught.value)] == []


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16", "utf-32", "utf-7", "cp037"])
def test_a_mapping_file_in_another_encoding_is_told(ws: Workspace, encoding: str) -> None:
    ws.write("jobs.csv", TEXT)
    ws.write(
        "sources.toml", (MAPPING + "# Größe\n").replace("Größe", "G" if "-be" in encoding else "Größe").encode(encoding)
    )
    if encoding == "utf-7":
        assert ws.load().total("accepted") == 2  # all but the comment is ASCII
        return
    with pytest.raises(MappingError, match=r"Save it as UTF-8|not valid TOML"):
        ws.load()


@pytest.mark.parametrize(
    "name", ["punycode", "idna", "undefined", "unicode_escape", "raw-unicode-escape", "charmap", "rot13", "hex", "zlib"]
)
def test_only_encodings_of_text_are_accepted(ws: Workspace, name: str) -> None:
    with pytest.raises(MappingError, match=rf"files\.f\.encoding: '{name}' is no text encoding"):
        ws.jobs(TEXT, encoding=name)


INNER = [
    "~file_no",
    "~~row",
    "~text model",
    "source_file",
    "source_row",
    "rowid",
    "whole",
    "c0",
    "line",
    "object",
    "place",
]


def test_columns_named_like_what_a_load_uses_itself_are_read(ws: Workspace) -> None:
    rows = [r | {name: f"{name} of {r['job_id']}" for name in INNER} for r in ROWS]
    ws.write("jobs.csv", csv_of(*rows))
    for name in INNER:
        entry = {"table": "jobs", "from": "f", "columns": {"complaint": name}}
        ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [entry]})
        assert ws.rows("select complaint from jobs order by 1") == [(f"{name} of A",), (f"{name} of B",)]


@pytest.mark.parametrize("name", ["key[1]", "key*", "k?y1", "key'1", "key{1}"])
def test_the_key_file_is_a_name_and_no_pattern(ws: Workspace, tmp_path: Path, name: str) -> None:
    def codes(key: str) -> list[Any]:
        columns = {"technician": {"column": "worker", "key_file": str(tmp_path / key)}}
        ws.jobs(csv_of(*(r | {"worker": "Ann"} for r in ROWS)), columns=columns)
        return ws.rows("select distinct technician from jobs")

    (tmp_path / name).write_text("the right key, long enough to be one")
    (tmp_path / "key1").write_text("another key, which a pattern would meet")
    right = codes(name)
    (tmp_path / "plain").write_text("the right key, long enough to be one")
    assert codes("plain") == right
    assert codes("key1") != right


@pytest.mark.parametrize("form", ["csv", "jsonl", "escaped", "frame", "sql"])
@pytest.mark.parametrize("plain", some_slow([True, False], 1))
def test_every_kind_of_space_is_taken_off_both_ends_in_every_format(ws: Workspace, form: str, plain: bool) -> None:
    import polars as pl

    spaces = [s for s in SPACES if s.isascii()] if plain else list(SPACES)
    rows = [
        job(f"J{n}", model=m) for n, s in enumerate(spaces) for m in (f"Quern{s}", f"{s}Quern", f"{s}{s}Quern{s}\n")
    ]
    rows = [r | {"job_id": f"J{n}"} for n, r in enumerate(rows)]
    quoted = [{**r, "model": '"' + r["model"] + '"'} for r in rows]
    if form == "frame":
        mapping = {"files": {"f": {"format": "frame"}}, "table": [{"table": "jobs", "from": "f"}]}
        ws.load(mapping, frames={"f": pl.DataFrame(rows)})
    elif form in ("jsonl", "escaped"):
        ws.jobs("\n".join(json.dumps(r, ensure_ascii=form == "escaped") for r in rows), name="jobs.jsonl")
    else:
        ws.jobs(csv_of(*quoted), columns={"model": {"sql": "model || ''"}} if form == "sql" else {})
    assert ws.rows("select distinct model from jobs") == [("Quern",)]
    assert ws.one("select count(*) from jobs") == len(rows)


def test_unicode_space_is_what_unicode_says() -> None:
    assert {chr(n) for n in range(0x110000) if chr(n).isspace()} | {"\ufeff"} == set(SPACES)
    assert len(SPACES) == len(set(SPACES))


@pytest.mark.parametrize("encoding", some_slow(["utf-16", "utf_16", "utf-32"], 1))
@pytest.mark.parametrize("name", ["jobs.csv", "jobs.jsonl", "jobs.csv.gz"])
def test_text_without_a_byte_order_mark_is_told(ws: Workspace, name: str, encoding: str) -> None:
    plain = TEXT.encode("utf-16-le") if "csv" in name else "\n".join(LINES).encode()
    with pytest.raises(SourceError) as caught:
        ws.jobs(gzip.compress(plain) if name.endswith(".gz") else plain, name=name, encoding=encoding)
    assert "Nothing was loaded." in str(caught.value)
    assert "Set encoding" in str(caught.value)


@pytest.mark.parametrize("path", ["/tmp/a\0b", "~no-such-user/key"])
def test_a_key_file_that_is_no_path_is_told(ws: Workspace, path: str) -> None:
    entry = {"table": "jobs", "from": "f", "columns": {"technician": {"column": "technician", "key_file": path}}}
    with pytest.raises(MappingError, match="key_file is a whole path"):
        ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [entry]})


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deep"),
        ("a = " + "{b = " * 5000 + "1" + "}" * 5000, "nested too deep"),
        ("a = " + "9" * 5000, "a number that is too long"),
    ],
)
def test_a_mapping_that_cannot_be_taken_apart_is_told(ws: Workspace, line: str, part: str) -> None:
    ws.write("sources.toml", f"{line}\n{MAPPING}")
    with pytest.raises(MappingError, match=part) as caught:
        read_mapping(ws.folder)
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize(
    "factor",
    ["1e999999999", "1e1_000_000_000", "1e-999999999", "1/0", "9" * 5000, "1/" + "9" * 5000, "", "inf", "0", "-1"],
)
def test_a_factor_out_of_bounds_is_told_at_once(ws: Workspace, factor: str) -> None:
    entry = {"table": "jobs", "from": "f", "columns": {"labour_minutes": {"column": "model", "times": factor}}}
    with pytest.raises(MappingError) as caught:
        ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [entry]})
    assert "columns.labour_minutes.times" in str(caught.value)
    assert max(map(len, str(caught.value).splitlines())) < 300


@pytest.mark.parametrize(
    ("factor", "value"), [("60", 60.0), ("1/60", 1 / 60), (" 1.5e3 ", 1500.0), ("1_000", 1000.0), (".5", 0.5)]
)
def test_factors_are_numbers_or_fractions(factor: str, value: float) -> None:
    assert ColumnSource(column="hours", times=factor).times == value  # type: ignore[arg-type]  # as a mapping writes it


def test_a_database_whose_write_was_broken_off_is_told(ws: Workspace) -> None:
    database(ws.folder / "jobs.sqlite", 3)
    # The beginning that every such journal has; reading would have to write.
    (ws.folder / "jobs.sqlite-journal").write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + bytes(600))
    with pytest.raises(SourceError, match=r"^jobs\.sqlite: the last write to it was broken off, and jobs\.sqlite-j"):
        ws.load({"files": {"f": {"path": "jobs.sqlite", "table": "jobs"}}, "table": [{"table": "jobs", "from": "f"}]})


@pytest.mark.parametrize("kind", ["pipe", "folder", "link"])
def test_a_list_of_actions_that_is_no_file_is_told(ws: Workspace, kind: str) -> None:
    place = ws.folder / "actions.csv"
    match kind:
        case "pipe":
            os.mkfifo(place)
        case "folder":
            place.mkdir()
        case _:
            place.symlink_to("gone.csv")
    with pytest.raises(MappingError, match=r"actions\.csv' is (no plain file|a folder|a link to)"):
        ws.jobs(TEXT)
    with pytest.raises(MappingError, match=r"actions\.csv is no plain file"):
        own_actions(ws.folder)


@pytest.mark.parametrize("kind", ["pipe", "folder", "link"])
def test_what_stands_in_the_place_of_the_store_is_told(ws: Workspace, kind: str) -> None:
    match kind:
        case "pipe":
            os.mkfifo(ws.store)
        case "folder":
            ws.store.mkdir()
        case _:
            ws.store.symlink_to("gone.duckdb")
    with pytest.raises(StoreError, match=r"is (a folder|no plain file).*the store belongs there\. Move it away"):
        open_store(ws.folder)
    if kind != "link":
        with pytest.raises(StoreError, match=r"the store belongs there\. Move it away"):
            ws.jobs(TEXT)
