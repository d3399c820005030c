"""What `inspect` shows of first rows, words and links is what is in the files, read by other libraries."""

import gzip
import json
import random
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import polars as pl
import pytest
import xlsxwriter

import rqa
from rqa.errors import MappingError, RequestError

HEAD = ["Order", "Serial", "Kind", "In", "Out", "State"]
CODES = {"fertig": "repaired", "kein Fehler": "no_fault_found", "offen": "open"}


def log(rows: int = 40, seed: int = 1) -> list[list[str]]:
    """Jobs of a shop as texts; some words have no code."""
    rng = random.Random(seed)
    made = []
    for n in range(rows):
        state = rng.choice(["fertig"] * 6 + ["kein Fehler", "offen", "??"])
        day = 1 + n % 27
        out = "" if state == "offen" else f"{day + 1:02d}.03.2025 09:30"
        made.append([f"W-{25001 + n}", f"sn {rng.randrange(25)}", "Marl-8", f"{day:02d}.03.2025 08:05", out, state])
    return made


def mapping(**files: Any) -> dict[str, Any]:
    columns: dict[str, Any] = {
        "job_id": "Order", "unit_id": "Serial", "model": "Kind", "opened_at": "In", "closed_at": "Out",
        "disposition": {"column": "State", "values": CODES}, "site": {"constant": "alder"},
        "procedure": {"constant": "unknown"},
    }
    return {
        "workspace": {"zone": "UTC"}, "files": {"f": {"times": ["%d.%m.%Y %H:%M"], **files}},
        "table": [{"table": "jobs", "from": "f", "columns": columns}],
    }


def as_csv(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    (folder / "a.csv").write_text("\n".join(";".join(r) for r in [HEAD, *rows]) + "\n", encoding="cp1252")
    return {"path": "a.csv", "delimiter": ";", "encoding": "cp1252"}


def as_gz(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    (folder / "a.csv.gz").write_bytes(gzip.compress("\r\n".join(",".join(r) for r in [HEAD, *rows]).encode()))
    return {"path": "a.csv.gz"}


def as_titled_xlsx(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    with xlsxwriter.Workbook(str(folder / "a.xlsx")) as book:
        sheet = book.add_worksheet("Jobs")
        sheet.write_string(0, 0, "All jobs")
        for n, row in enumerate([HEAD, *rows]):
            sheet.write_row(n + 2, 0, row)
    return {"path": "a.xlsx", "header_row": 3}


def as_json_lines(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    (folder / "a.jsonl").write_text("\n".join(json.dumps(dict(zip(HEAD, r, strict=True))) for r in rows))
    return {"path": "a.jsonl"}


def as_sqlite(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    with sqlite3.connect(folder / "a.db") as db:
        db.execute(f"create table jobs ({', '.join(f'{c!r} text' for c in HEAD)})")
        db.executemany("insert into jobs values (?, ?, ?, ?, ?, ?)", rows)
    db.close()
    return {"path": "a.db", "table": "jobs"}


def as_parquet(folder: Path, rows: list[list[str]]) -> dict[str, Any]:
    pl.DataFrame(rows, schema=HEAD, orient="row").write_parquet(folder / "a.parquet")
    return {"path": "a.parquet"}


FORMS = {
    "a.csv": (as_csv, lambda f: pd.read_csv(f, sep=";", encoding="cp1252", dtype=str, keep_default_na=False), 2),
    "a.csv.gz": (as_gz, lambda f: pd.read_csv(f, dtype=str, keep_default_na=False), 2),
    "a.xlsx": (as_titled_xlsx, lambda f: pd.read_excel(f, header=2, dtype=str, keep_default_na=False), 4),
    "a.jsonl": (as_json_lines, lambda f: pl.read_ndjson(f).to_pandas(), 1),
    "a.db": (as_sqlite, lambda f: read_sqlite(f), 1),
    "a.parquet": (as_parquet, lambda f: pl.read_parquet(f).to_pandas(), 1),
}


def read_sqlite(file: Path) -> pd.DataFrame:
    db = sqlite3.connect(file)
    try:
        return pd.read_sql_query("select * from jobs", db)
    finally:
        db.close()


@pytest.mark.parametrize("name", FORMS)
def test_cells_words_and_rows_are_those_that_pandas_reads(name: str, tmp_path: Path) -> None:
    write, read, first = FORMS[name]
    made = write(tmp_path, log())
    raw = read(tmp_path / name)
    found = rqa.inspect(tmp_path, mapping=mapping(**made), rows=5)

    assert found.report.total("in_file") == len(raw)
    words = {w.word: w.rows for w in found.seen.words}
    assert words == raw["State"].value_counts().to_dict()
    assert {w.word for w in found.seen.words if not w.code} == {"??"}
    good = raw[raw["State"] != "??"].head(5)
    (shown,) = found.seen.rows
    assert list(shown.rows) == [n + first for n in good.index]
    cells = {c.name: c for c in shown.columns}
    for column, source in (("job_id", "Order"), ("unit_id", "Serial"), ("opened_at", "In"), ("disposition", "State")):
        assert list(cells[column].source) == good[source].to_list(), column
    assert list(cells["unit_id"].stored) == [s.upper().replace(" ", "") for s in good["Serial"]]
    times = pd.to_datetime(good["In"], format="%d.%m.%Y %H:%M").dt.strftime("%Y-%m-%d %H:%M").to_list()
    assert list(cells["opened_at"].stored) == times
    assert list(cells["disposition"].stored) == [CODES[s] for s in good["State"]]
    assert cells["site"].origin == "(always the same)"


def test_what_is_shown_is_what_a_load_then_stores(tmp_path: Path) -> None:
    made = mapping(**as_csv(tmp_path, log()))
    found = rqa.inspect(tmp_path, mapping=made, rows=20)
    rqa.load(tmp_path, mapping=made)
    with rqa.open(tmp_path) as depot:
        stored = depot.query(
            "select job_id, unit_id, disposition, strftime(opened_at, '%Y-%m-%d %H:%M') as opened_at from jobs "
            "order by source_row limit 20"
        )
    assert found.rows_of("jobs", most=20).select(stored.columns).equals(stored)
    again = rqa.inspect(tmp_path, mapping=made, rows=20)
    assert again.first_rows.equals(found.first_rows), "the file is known by now, and not read again"


def test_the_beginning_of_a_large_file_has_the_places_of_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Blank lines, and line ends within quotes, move rows; the last line of what is looked at is cut in two."""
    monkeypatch.setattr("rqa.store.first_rows.HEAD_BYTES", 900)
    rows = [";".join(r) for r in log(300)]
    rows[0] = rows[0].replace("Marl-8", '"Marl\n8"')
    text = "\n".join([";".join(HEAD), "", *rows[:2], "", "", *rows[2:]]) + "\n"
    (tmp_path / "a.csv").write_text(text)
    made = mapping(path="a.csv", delimiter=";")
    found = rqa.inspect(tmp_path, mapping=made, rows=8)
    (shown,) = found.seen.rows
    lines = text.split("\n")
    orders = next(c for c in shown.columns if c.name == "job_id").source
    assert len(orders) == 8
    assert [lines[row - 1].split(";")[0] for row in shown.rows] == list(orders)
    assert sum(w.rows for w in found.seen.words) == 300


def test_rows_that_are_refused_say_why_where_no_other_is_there(tmp_path: Path) -> None:
    made = mapping(**as_csv(tmp_path, [r for r in log() if r[5] == "??"]))
    found = rqa.inspect(tmp_path, mapping=made)
    assert {s.split(",")[0] for s in found.seen.rows[0].states} == {"refused: disposition: not one of repaired"}
    assert "is not stored: refused: disposition" in found.text()
    assert found.next_line.startswith('table.1 (jobs): add to values of disposition (from State): "??" = "…".')


WIDE = """Order;Check;Done;Who;Display;Battery
W1;;01.03.2025 10:00;K. Ahl;OK;NOK
W2;;02.03.2025 10:00;M. Boe;OK;
"""


def test_a_sheet_with_a_column_a_check_shows_the_cell_of_each_check(tmp_path: Path) -> None:
    (tmp_path / "checks.csv").write_text(WIDE)
    made = {
        "workspace": {"zone": "UTC"}, "files": {"f": {"path": "checks.csv", "delimiter": ";",
                                                      "times": "%d.%m.%Y %H:%M"}},
        "table": [{"table": "diagnostics", "from": "f",
                   "columns_to_rows": {"name": "test", "value": "outcome", "columns": ["Display", "Battery"]},
                   "columns": {"job_id": "Order", "run_at": "Done",
                               "outcome": {"column": "outcome", "values": {"OK": "pass", "NOK": "fail"}}}}],
    }
    found = rqa.inspect(tmp_path, mapping=made, rows=3)
    cells = found.first_rows.filter(pl.col("column").is_in(["test", "outcome"]))
    rows = cells.filter(pl.col("column") == "outcome").select("row", "source", "stored").rows()
    assert rows == [(2, "OK", "pass"), (2, "NOK", "fail"), (3, "OK", "pass")]
    assert {(w.word, w.code, w.rows) for w in found.seen.words} == {("OK", "pass", 2), ("NOK", "fail", 1)}
    rqa.load(tmp_path, mapping=made)
    again = rqa.inspect(tmp_path, mapping=made, rows=3)
    assert (again.seen.rows, again.seen.words) == (found.seen.rows, found.seen.words), "its files are known by now"


def test_names_of_people_are_not_shown(tmp_path: Path) -> None:
    made = mapping(**as_csv(tmp_path, log()))
    made["table"][0]["columns"]["technician"] = "Kind"
    said = rqa.inspect(tmp_path, mapping=made).text()
    line = next(x for x in said.splitlines() if x.strip().startswith("technician"))
    assert "(name)" in line
    assert "Marl" not in line


def test_all_faults_are_told_at_once_in_the_words_of_the_file(tmp_path: Path) -> None:
    made = mapping(**as_csv(tmp_path, log()))
    made["table"][0]["columns"] |= {"job_id": "Ordre", "unit_id": "Seriel"}
    with pytest.raises(MappingError) as error:
        rqa.inspect(tmp_path, mapping=made)
    for name in ("Ordre", "Seriel", "Order", "Serial"):
        assert repr(name) in str(error.value)


@pytest.mark.parametrize("rows", [0, 51, 1.5])
def test_a_number_of_rows_that_is_none(rows: Any, tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="whole number from 1 to 50"):
        rqa.inspect(tmp_path, rows=rows)


def test_what_is_seen_fits_the_width(tmp_path: Path) -> None:
    found = rqa.inspect(tmp_path, mapping=mapping(**as_csv(tmp_path, log())))
    for width in (80, 100, 120):
        seen = found.text(width=width).partition("Words of a status")[2].rpartition("\n\n")[0]
        assert max(map(len, seen.splitlines())) <= width
        assert seen.index("Can be told") < seen.index("First rows")


Change = Callable[[str], str]


@pytest.mark.parametrize(
    ("of_log", "linked"),
    [(lambda i: i.replace("-", ""), True), (lambda i: f"{i}-1", True), (lambda i: f"x{i[::-1]}", False),
     (lambda i: i, False)],
)
def test_ids_that_differ_only_in_form_are_told_with_the_line_that_mends_them(
    of_log: Change, linked: bool, tmp_path: Path
) -> None:
    import tomllib

    rows = [r for r in log() if r[5] != "??"]
    made = mapping(**as_csv(tmp_path, rows))
    (tmp_path / "steps.csv").write_text("Order,Step,Result\n" + "".join(f"{of_log(r[0])},open,ok\n" for r in rows))
    made["files"]["s"] = {"path": "steps.csv"}
    made["table"].append({"table": "steps", "from": "s", "columns": {
        "job_id": "Order", "step": "Step", "outcome": {"column": "Result", "values": {"ok": "pass"}}}})
    found = rqa.inspect(tmp_path, mapping=made)
    (link,) = found.seen.links
    same = {of_log(r[0]) for r in rows} & {r[0] for r in rows}
    assert (link.rows, link.linked) == (len(rows), len(same))
    assert bool(found.seen.forms) is linked
    if not linked:
        return
    assert f"{len(rows)} more rows of steps will have a job" in found.next_line
    for line in found.next_line.partition("Write ")[2].partition("; then")[0].split(" and "):
        setting, _, place = line.rpartition(" in table.")
        made["table"][int(place[0]) - 1]["columns"] |= tomllib.loads(setting)
    after = rqa.inspect(tmp_path, mapping=made)
    assert (after.seen.links[0].linked, after.seen.forms) == (len(rows), ())
    assert after.report.total("accepted") == found.report.total("accepted")


def test_two_jobs_that_would_get_one_id_are_no_change_of_form(tmp_path: Path) -> None:
    rows = [r for r in log() if r[5] != "??"]
    made = mapping(**as_csv(tmp_path, [*rows, ["W25-001", *rows[0][1:]], ["W-25001", *rows[0][1:]]]))
    (tmp_path / "steps.csv").write_text("Order,Step,Result\nW25001,open,pass\nW25002,open,pass\nW25003,open,pass\n")
    made["files"]["s"] = {"path": "steps.csv"}
    made["table"].append({"table": "steps", "from": "s", "columns": {
        "job_id": "Order", "step": "Step", "outcome": "Result"}})
    assert [f.what for f in rqa.inspect(tmp_path, mapping=made).seen.forms] == ["letters in front"]
