"""A workspace with 24 names in every kind of source and place, and a search that finds them in whatever is left.

The names are invented. They are planted as persons, beside rows that break a rule, in records that are no rows, in
columns where they do not belong, and in free texts.
"""

import csv
import html
import io
import json
import sqlite3
import unicodedata
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import openpyxl
import polars as pl
import pyarrow as pa
import pyarrow.compute as compute

NAMES = (
    "Zebulon Quartermain", "ORSOLYA VANTONGERLOO", "pim ossebaard", "McQuillentz, Adair", "Wrenford-Attlebrook",
    "Zoë Brûléhart", "ÉMERIC Dûchêneau", "Łukaszyna Brzęczyk", "Ñuñopetra Gascuñez", "Jürgenette Weißhäupl",
    "Siobhán O'Quilligaun", "D’Artembrieux Noëlle", "N'Golombé Sékouba", "O'Hanlihaun-O'Dwyerstead",
    "王小珂", "欧阳翡琳", "陈𠮷霖",
    "Quill (the.*) Pendraggen", "Bax+ter|Pikestone", "[Tobrecht] ^Ivarsen$", "C:\\Hollowbyte {3}",
    'Ned "Knuckles" Farrowgate',
    "Maximilianette Theodorakopoulina-Featherstonehaughsworth von und zu Oberunterniederwaldkirchenstein",
    "Àngel·la   Vilaprunyosa",
)
FIRST = datetime(2025, 1, 6, 9)
SOURCES = ("alder", "birch", "cedar", "dunes", "ember")
COLUMNS = ("Order", "Serial", "model", "procedure", "opened_at", "closed_at", "disposition", "complaint", "Worker")
SOURCE_FILES = (
    "alder.csv", "alder_2.csv", "birch.xlsx", "cedar.jsonl", "dunes.db", "ember.parquet", "log.csv", "actions.csv",
)
"""What people write: the names stand there."""
LOG = ("job_id", "step", "outcome", "at", "who", "place")


def _spellings(word: str) -> set[str]:
    """A word as it is written in texts, JSON, HTML and Python, with its accents in both of their spellings."""
    forms = {unicodedata.normalize(form, w) for form in ("NFC", "NFD") for w in (word.lower(), word.upper(), word)}
    forms |= {json.dumps(w)[1:-1] for w in forms} | {json.dumps(w, ensure_ascii=False)[1:-1] for w in forms}
    return forms | {html.escape(w) for w in forms} | {repr(w)[1:-1] for w in forms}


def needles() -> list[bytes]:
    """The long words of every name, or all of one that has none, in every spelling; ASCII letters in lower case."""
    found: dict[bytes, str] = {}
    for name in NAMES:
        words = [w for w in name.replace("-", " ").split() if len(w) >= 6] or [name]
        for written in {s for word in words for s in _spellings(word)}:
            for encoding in ("utf-8", "utf-16-le", "utf-16-be", "cp1252"):
                with suppress(UnicodeEncodeError):
                    found[written.encode(encoding).lower()] = name
    return sorted(n for n in found if not any(o in n for o in found if o != n))


BYTES = needles()
ANY = "|".join("".join(rf"\x{byte:02x}" for byte in needle) for needle in BYTES)
"""All of them as one pattern, which says much faster that none is there."""


def in_bytes(data: bytes) -> set[bytes]:
    """The names that stand in some bytes, those packed in a zip archive too."""
    lowered = data.lower()
    any_there = compute.match_substring_regex(pa.array([lowered], pa.binary()), pattern=ANY)[0].as_py()
    found = {needle for needle in BYTES if needle in lowered} if any_there else set()
    if data.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for member in archive.namelist():
                found |= in_bytes(archive.read(member))
    return found


@cache
def in_file(path: Path, modified: int) -> set[bytes]:
    """The names that stand in a file's bytes; a file that is what it was is not searched again."""
    return in_bytes(path.read_bytes())


@cache
def in_store(path: Path, modified: int) -> set[bytes]:
    """The names that stand in any table of a store: the engine packs them on disk."""
    found = set()
    with duckdb.connect(":memory:") as connection:
        connection.execute(f"attach '{path}' as depot (read_only)")
        tables = connection.execute("select table_name from duckdb_tables() where database_name = 'depot'").fetchall()
        assert len(tables) > 15
        for (table,) in tables:
            rows = connection.execute(f'select * from depot."{table}"').fetchall()
            found |= in_bytes("\n".join(map(str, (v for row in rows for v in row))).encode())
    return found


def files(*folders: Path) -> Iterator[Path]:
    """Every file below, hidden ones and those that a killed load left too."""
    for folder in folders:
        yield from (p for p in folder.rglob("*") if p.is_file())


def where(workspace: Path, temporary: Path, *said: str) -> dict[str, set[bytes]]:
    """The names that stand in any file but the sources, or in what was said, by where they stand."""
    found = {text[:60]: in_bytes(text.encode()) for text in said}
    for path in files(workspace, temporary):
        if path.parent != workspace or path.name not in SOURCE_FILES:
            place = str(path.relative_to(workspace.parent))
            found[place] = in_file(path, path.stat().st_mtime_ns)
            if path == workspace / "depot.duckdb":
                found[f"tables of {place}"] = in_store(path, path.stat().st_mtime_ns)
    return {place: names for place, names in found.items() if names}


def rows_of(source: str, each: int = 2) -> list[dict[str, str]]:
    """Jobs of one source: each name has some, and some of them break a rule or hold a name where none belongs."""
    made = []
    for n in range(each * len(NAMES)):
        name = NAMES[n % len(NAMES)]
        opened = FIRST + timedelta(days=7 * n + SOURCES.index(source))
        row = dict(
            zip(
                COLUMNS,
                (f"{source}-{n}", f"U{source}{n // 3}", "Quern", "board swap", f"{opened:%Y-%m-%d %H:%M:%S}",
                 f"{opened + timedelta(days=2):%Y-%m-%d %H:%M:%S}", "repaired", f"call {name}, then test", name),
                strict=True,
            )
        )
        made.append(row)
        made.append(row | {"Order": f"{source}-bad-{n}", "opened_at": "soon"})
        made.append(row | {"Order": f"{source}-odd-{n}", "closed_at": f"by {NAMES[(n + 1) % len(NAMES)]}"})
        made.append(row | {"Order": f"{source}-none-{n}", "model": ""})
    # The same persons in other cases.
    return [*made, *(r | {"Order": r["Order"] + "-u", "Worker": r["Worker"].upper()} for r in made[:3])]


def csv_of(rows: list[dict[str, str]], encoding: str) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), delimiter=";", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    for name in NAMES:
        if name.isprintable() and '"' not in name:
            out.write(f"too;few;{name}\n")
            out.write(f"too;many;1;2;3;4;5;6;7;{name};{name}\n")
            out.write(f'open;"never closed {name};3\n' if name is NAMES[-1] else "")
    return out.getvalue().encode(encoding, "replace")


def _encodable(rows: list[dict[str, str]], encoding: str) -> list[dict[str, str]]:
    return [{k: v.encode(encoding, "replace").decode(encoding) for k, v in r.items()} for r in rows]


def write_sources(folder: Path, each: int = 2) -> None:
    """Every source of the workspace, names in the clear."""
    folder.mkdir(exist_ok=True)
    (folder / "alder.csv").write_bytes(csv_of(_encodable(rows_of("alder", each), "cp1252"), "cp1252"))
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(list(COLUMNS))
    for row in rows_of("birch", each):
        sheet.append(list(row.values()))
    book.save(folder / "birch.xlsx")
    lines = [json.dumps(r, ensure_ascii=False) for r in rows_of("cedar", each)]
    lines += [x for n in NAMES for x in ('{"Worker": ' + json.dumps(n), f"{n} is no JSON", json.dumps([n]))]
    lines += ['{"Worker": "a", "Worker": ' + json.dumps(n, ensure_ascii=False) + "}" for n in NAMES]
    (folder / "cedar.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "dunes.db").unlink(missing_ok=True)
    with sqlite3.connect(folder / "dunes.db") as connection:
        connection.execute(f"create table work ({', '.join(COLUMNS[:-1])}, Worker)".replace("Order", '"Order"'))
        connection.executemany(
            f"insert into work values ({', '.join('?' * len(COLUMNS))})",
            [tuple(r.values()) for r in rows_of("dunes", each)],
        )
    connection.close()
    pl.DataFrame(rows_of("ember", each)).write_parquet(folder / "ember.parquet")
    log = []
    for n, r in enumerate(rows_of("birch", each)):
        outcome, place = "pass" if n % 5 else "fail", NAMES[n % len(NAMES)]
        for step in ("open", "close"):
            log.append(dict(zip(LOG, (r["Order"], step, outcome, r["opened_at"], r["Worker"], place), strict=True)))
    (folder / "log.csv").write_bytes(csv_of(log, "utf-8"))


def mapping(key: Path, **workspace: Any) -> dict[str, Any]:
    """The mapping of these sources; without a key the names are stored as they are."""

    def person(column: str, **more: Any) -> dict[str, Any]:
        return {"column": column, "key_file": str(key), **more} if key != Path() else {"column": column}

    columns = {"job_id": "Order", "unit_id": "Serial", "technician": person("Worker")}
    kinds: dict[str, dict[str, Any]] = {
        "alder": {"path": "alder*.csv", "delimiter": ";", "encoding": "cp1252"}, "birch": {"path": "birch.xlsx"},
        "cedar": {"path": "cedar.jsonl"}, "dunes": {"path": "dunes.db", "table": "work"},
        "ember": {"path": "ember.parquet"}, "log": {"path": "log.csv", "delimiter": ";"},
    }
    jobs = [{"table": "jobs", "from": s, "columns": columns | {"site": {"constant": s.title()}}} for s in SOURCES]
    steps = {
        "table": "steps",
        "select": 'select job_id, step, outcome, "at" as ended_at, who as technician, place as bench from log',
        "columns": {"technician": person("technician"), "bench": person("bench", person=True)},
    }
    return {"workspace": {"find_names": True, **workspace}, "files": kinds, "table": [*jobs, steps]}


def as_toml(plain: dict[str, Any]) -> str:
    """A mapping as the text of a `sources.toml`."""

    def value(v: Any) -> str:
        if isinstance(v, dict):
            return "{" + ", ".join(f"{k} = {value(x)}" for k, x in v.items()) + "}"
        return json.dumps(v, ensure_ascii=False)

    lines = ["[workspace]", *(f"{k} = {value(v)}" for k, v in plain["workspace"].items())]
    for name, spec in plain["files"].items():
        lines += [f"[files.{name}]", *(f"{k} = {value(v)}" for k, v in spec.items())]
    for entry in plain["table"]:
        lines += ["[[table]]", *(f"{k} = {value(v)}" for k, v in entry.items())]
    return "\n".join(lines) + "\n"
