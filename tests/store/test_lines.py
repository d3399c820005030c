"""Lines of one visit become one job: by the stated rule, in every format, with every line accounted for.

What is due is worked out line by line in Python, from the rule in the page on the mapping.
"""

import dataclasses
import json
import re
from collections import Counter
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rqa.store.lines
from rqa.contract import JOBS, TABLES, Column
from rqa.store.lines import SHOWN, UNLIKE
from rqa.store.remarks import DIFFER
from tests.examples import examples
from tests.store.test_round_trip import FORMATS, Row, frame, rows_of, to_csv
from tests.workspaces import Workspace, csv_of, job

WORDS = ("one job", "one job per file")
ABOUT, REQUIRED = ("unit_id", "model", "site"), tuple(c.name for c in JOBS.columns if c.required)
OTHERS = tuple(n for n in JOBS.names if n not in (*ABOUT, "job_id", "opened_at", "closed_at"))


def mapping(word: str | None, path: str = "*.csv", **more: Any) -> dict[str, Any]:
    entry = {"table": "jobs", "from": "f", **more} | ({"lines": word} if word else {})
    return {"files": {"f": {"path": path, "zone": "UTC"}}, "table": [entry]}


@dataclasses.dataclass
class Due:
    """What is due of some files of lines: the jobs by id, the places refused, the lines merged and differing."""

    jobs: dict[str, Row] = dataclasses.field(default_factory=dict)
    refused: set[tuple[str, int]] = dataclasses.field(default_factory=set)
    merged: Counter[str] = dataclasses.field(default_factory=Counter)
    differing: Counter[str] = dataclasses.field(default_factory=Counter)


def faults(row: Row) -> list[str]:
    """The rules that one row breaks: the names of required columns that it lacks, and "other"."""
    found = [n for n in REQUIRED if row[n] is None]
    closed, opened = row["closed_at"], row["opened_at"]
    if closed is None and row["disposition"] not in (None, "open"):
        found.append("other")
    if closed is not None and opened is not None and closed < opened:
        found.append("other")
    return found


def put_together(lines: list[Row]) -> tuple[Row, list[str]]:
    """One job of its lines, in their order, and the columns other than times in which they differ."""
    made: Row = {}
    for name in JOBS.names:
        given_values = [line[name] for line in lines if line[name] is not None]
        made[name] = given_values[0] if given_values else None
    made["opened_at"] = min((line["opened_at"] for line in lines if line["opened_at"] is not None), default=None)
    made["closed_at"] = max((line["closed_at"] for line in lines if line["closed_at"] is not None), default=None)
    ways = [line["disposition"] for line in lines if line["disposition"] is not None]
    if "open" in ways:
        made["disposition"] = "open"
    elif any(w != "cancelled" for w in ways):
        made["disposition"] = next(w for w in ways if w != "cancelled")
    if any(line["disposition"] == "open" and line["closed_at"] is None for line in lines):
        made["closed_at"] = None
    return made, [n for n in JOBS.names if len({line[n] for line in lines} - {None}) > 1]


def worked_out(files: dict[str, list[Row]], *, per_file: bool) -> Due:
    """Reads line after line, and nothing else."""
    due, visits = Due(), dict[tuple[str, ...], list[tuple[tuple[str, int], Row]]]()
    for name in sorted(files):
        for number, row in enumerate(files[name], 2):
            broken = faults(row)
            if "job_id" in broken or "site" in broken or "other" in broken:
                due.refused.add((name, number))
            else:
                visits.setdefault((row["job_id"], name) if per_file else (row["job_id"],), []).append(
                    ((name, number), row)
                )
    for (job_id, *_), lines in visits.items():
        made, differing = put_together([row for _, row in lines])
        if faults(made) or any(n in ABOUT for n in differing):
            due.refused |= {place for place, _ in lines}
            continue
        (name, number), _ = lines[0]
        # With a file each, the job of a later file replaces that of an earlier one.
        due.jobs[job_id] = made | ({} if per_file else {"source_file": name, "source_row": number})
        due.merged.update(place[0] for place, _ in lines[1:])
        due.differing.update(n for n in differing if n in OTHERS)
    return due


def text(value: object) -> str:
    return "" if value is None else str(value)


def store_holds(ws: Workspace, due: Due) -> None:
    found = [dict(zip([*JOBS.names, "source_file", "source_row"], r, strict=True))
             for r in ws.rows(f"select {', '.join(JOBS.names)}, source_file, source_row from jobs")]
    assert len(found) == len(due.jobs)
    for row in found:
        wanted = due.jobs[row["job_id"]]
        assert {n: text(row[n]) for n in wanted} == {n: text(v) for n, v in wanted.items()}
    assert set(ws.rows("select distinct source_file, source_row from refused")) == due.refused
    days = "select count(*) from jobs where opened_on <> opened_at::date or closed_on is distinct from closed_at::date"
    assert ws.one(days) == 0


TIMES = [datetime(2024, 3, d, 10) for d in (1, 2, 3)]
DISPOSITIONS = st.sampled_from(["repaired", "repaired", "no_fault_found", "cancelled", "open"])


@st.composite
def line(draw: st.DrawFn) -> Row:
    """A line: mostly sound, of one of three visits; any of its values may be lacking."""
    number = draw(st.sampled_from("112"))
    state = draw(DISPOSITIONS)
    closed = None if state == "open" and draw(st.booleans()) else draw(st.sampled_from(TIMES[1:]))
    row: Row = dict.fromkeys(JOBS.names) | {
        "job_id": f"J{number}", "unit_id": draw(st.sampled_from([f"U{number}"] * 9 + ["U9"])), "model": "Quern",
        "site": "Alder", "procedure": "board", "opened_at": draw(st.sampled_from(TIMES[:2])), "disposition": state,
        "closed_at": closed, "complaint": draw(st.sampled_from([None, "screen", "port"])),
        "labour_minutes": draw(st.sampled_from([None, 10.0, 20.0])),
    }
    lacking = draw(st.lists(st.sampled_from(REQUIRED), max_size=2)) if draw(st.integers(0, 3)) == 0 else []
    return row | dict.fromkeys(lacking)


@settings(max_examples=examples(5))
@given(bodies=st.lists(st.lists(line(), max_size=5), min_size=1, max_size=3), word=st.sampled_from(WORDS))
def test_lines_are_put_together_as_a_reading_line_by_line_says(bodies: list[list[Row]], word: str) -> None:
    files = {f"{n}.csv": body for n, body in enumerate(bodies, 1)}
    due = worked_out(files, per_file=word == WORDS[1])
    with TemporaryDirectory() as folder:
        ws = Workspace(Path(folder))
        for name, body in files.items():
            rows = [{n: text(v) for n, v in row.items()} for row in body]
            ws.write(name, csv_of(*rows) if rows else ",".join(JOBS.names) + "\n")
        for told in (True, False):
            report = ws.load(mapping(word))
            store_holds(ws, due)
            counts = {f.source_file: (f.read, f.merged) for f in report.files}
            assert counts == {n: (len(body), due.merged[n]) for n, body in files.items()}
            if told:
                assert {m.value: m.rows for m in report.remarks if m.remark == DIFFER} == due.differing
        assert report.total("accepted") == 0


VISITS: list[Row] = [
    dict.fromkeys(JOBS.names) | dict(zip(JOBS.names, values, strict=False))
    for values in (
        ("J1", "U1", "Quern", "Alder", "board", TIMES[1], "repaired", TIMES[1], None, "port"),
        ("J1", "U1", "Quern", "Alder", "board", TIMES[0], "cancelled", TIMES[2], "screen", "case"),
        ("J2", "U2", "Quern", "Alder", "board", TIMES[0], "repaired", TIMES[2]),
        ("J2", "U2", "Quern", "Alder", "board", TIMES[1], "open", None),
        ("J3", "U3", "Quern", "Alder", "board", TIMES[1], "repaired", TIMES[2]),
        ("J3", "U4", "Quern", "Alder", "board", TIMES[1], "repaired", TIMES[2]),
    )
]


def test_lines_of_every_format_and_of_a_select_are_put_together(ws: Workspace) -> None:
    """The first line of a text file stands in row 2; records of other formats are counted from 1."""
    rules: dict[str, Any] = {"files": {}, "table": []}
    frames, due = {}, {}
    for form in (*FORMATS, "frame"):
        for way in ("from", "select"):
            name = f"{form.replace('.', '_')}_{way}"
            rows = [row | {"job_id": f"{name} {row['job_id']}"} for row in VISITS]
            due[name] = worked_out({name: rows}, per_file=False)
            files: dict[str, Any] = {"format": "frame"} if form == "frame" else {"path": f"{name}.{form}"}
            rules["files"][name] = files | {"zone": "UTC"} | ({"table": "t"} if form == "sqlite" else {})
            source = {"from": name} if way == "from" else {"select": f"select * from {name}"}
            rules["table"].append({"table": "jobs", "lines": WORDS[0], **source})
            if form == "frame":
                frames[name] = frame(JOBS, rows)
            else:
                FORMATS[form](JOBS, rows, ws.folder / f"{name}.{form}")
    report = ws.load(rules, frames=frames)
    assert {(f.read, f.accepted, f.refused, f.merged) for f in report.files if f.table == "jobs"} == {(6, 2, 2, 2)}
    found = {job_id: row for job_id, *row in ws.rows(f"select {', '.join(JOBS.names)} from jobs")}
    wanted = {n: [text(row[c]) for c in JOBS.names[1:]] for of in due.values() for n, row in of.jobs.items()}
    assert {n: [*map(text, row)] for n, row in found.items()} == wanted
    first = "min(source_row) over (partition by split_part(job_id, ' ', 1))"
    places = f"select distinct split_part(job_id, ' ', 2), source_row - {first} from {{}} order by 1, 2"
    assert ws.rows(places.format("jobs")) == [("J1", 0), ("J2", 2)]
    assert ws.rows(places.format("refused")) == [("J3", 0), ("J3", 1)]


@settings(max_examples=examples(1))
@given(rows=rows_of(JOBS))
def test_without_lines_the_word_changes_nothing(rows: list[Row]) -> None:
    """Every column of the contract, its values as they come: the same store with the word and without."""
    held = []
    for word in (None, *WORDS):
        with TemporaryDirectory() as folder:
            ws = Workspace(Path(folder))
            to_csv(JOBS, rows, ws.folder / "1.csv")
            report = ws.load(mapping(word))
            tables = ("from jobs", "select * exclude (load_id) from refused", "select * exclude (load_id) from remarks")
            held.append((report.files, *(ws.rows(f"{asked} order by all") for asked in tables)))
    assert held[0][1]
    assert held[0] == held[1] == held[2]


def test_lines_that_are_no_single_visit_are_refused_with_their_values(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("A", unit_id="U2", model="Marl"), job("B"), job("A", site="Birch")))
    report = ws.load(mapping(WORDS[0]))
    assert ws.refused() == sorted(
        (row, column, UNLIKE, value) for row in (2, 3, 5)
        for column, value in (("unit_id", "U1, U2"), ("model", "Quern, Marl"), ("site", "Alder, Birch"))
    )
    assert ws.rows("select distinct json_extract_string(raw, 'job_id'), job_id from refused") == [("A", "A")]
    assert "jobs.unit_id: not the same in all lines of its job; first 'U1, U2' in 1.csv, row 2" in str(report)
    assert "Check that `job_id` tells one visit from another, and `lines`." in str(report)


def test_of_many_values_that_differ_some_are_told(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(*(job("A", unit_id=f"U{n}") for n in range(SHOWN + 2))))
    ws.load(mapping(WORDS[0]))
    assert {v for *_, v in ws.refused()} == {"U0, U1, U2, U3, U4 and 2 more"}


def test_what_no_line_gives_is_refused_with_every_line(ws: Workspace) -> None:
    """A line may leave out what another gives; what none gives, and times that then do not fit, are refused."""
    lacking = job("A", procedure="", closed_at="")
    ws.write("1.csv", csv_of(lacking | {"disposition": ""}, lacking | {"disposition": "open"}))
    ws.load(mapping(WORDS[0]))
    assert ws.refused() == [(2, "procedure", "missing", None), (3, "procedure", "missing", None)]
    late = job("A", opened_at="2024-03-05 10:00:00", disposition="", closed_at="")
    ws.write("1.csv", csv_of(late, job("A", opened_at="")))
    ws.load(mapping(WORDS[0]))
    rule = "closed before it was opened"
    assert ws.refused() == [(n, "closed_at", rule, "2024-03-02 10:00:00 UTC") for n in (2, 3)]


def test_a_job_has_the_lines_of_the_files_that_are_there(ws: Workspace) -> None:
    """A file that comes, changes or goes has the others read again; what was merged is counted by file each time."""

    def merged() -> dict[str, tuple[int, bool]]:
        return {f.source_file: (f.merged, f.unchanged) for f in ws.load(mapping(WORDS[0])).files}

    def standing() -> list[tuple[Any, ...]]:
        return ws.rows("select job_id, strftime(closed_at, '%d'), source_file from jobs order by 1")

    ws.write("1.csv", csv_of(job("A")))
    ws.write("2.csv", csv_of(job("A", closed_at="2024-03-07 10:00:00")))
    assert (merged(), standing()) == ({"1.csv": (0, False), "2.csv": (1, False)}, [("A", "07", "1.csv")])
    assert merged() == {"1.csv": (0, True), "2.csv": (1, True)}
    ws.write("3.csv", csv_of(job("A", closed_at="2024-03-06 10:00:00")))
    assert (merged()["2.csv"], standing()) == ((1, False), [("A", "07", "1.csv")])
    ws.write("1.csv", csv_of(job("B")))
    assert merged() == {"1.csv": (0, False), "2.csv": (0, False), "3.csv": (1, False)}
    assert standing() == [("A", "07", "2.csv"), ("B", "02", "1.csv")]
    (ws.folder / "2.csv").unlink()
    assert merged()["3.csv"] == (0, False)
    assert standing() == [("A", "06", "3.csv"), ("B", "02", "1.csv")]


def test_names_stay_out_of_what_is_kept_of_lines(ws: Workspace) -> None:
    """A name in one line that becomes a pseudonym is found in no table, also where the lines are refused."""
    key = ws.write("../safe/key", b"secret").resolve()
    columns = {"technician": {"column": "Name", "key_file": key.as_posix()}}
    said = [("A", "port", "Ann Person", "Quern"), ("A", "ask Ann Person", "", "Quern"), ("B", "", "Bo Human", "Quern"),
            ("B", "", "", "Bo Human")]
    rows = [job(n, model=model) | {"complaint": complaint, "Name": person} for n, complaint, person, model in said]
    ws.write("1.csv", csv_of(*rows))
    report = ws.load(mapping(WORDS[0], columns=columns) | {"workspace": {"find_names": True}})
    assert (report.total("merged"), report.total("refused")) == (1, 2)
    assert {v for *_, v in ws.refused()} == {"Quern, (name)"}
    stored = "".join(str(r) for t in ("jobs", "refused", "remarks", "superseded") for r in ws.rows(f"from {t}"))
    assert not re.search("Ann|Person|Bo|Human", stored + str(report))
    assert ws.one("select technician is not null from jobs")


def test_the_contract_may_name_a_column_of_jobs_like_anything_inside(
    ws: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A table of jobs with a column for every word in the code loses no value of a line."""
    code = Path(rqa.store.lines.__file__).read_text(encoding="utf-8")
    known = {*JOBS.names, *(day for day, _ in JOBS.days), "source_file", "source_row", "rowid", "select"}
    words = {*re.findall(r"\bas ([a-z_]+)\b", code), *re.findall(r"\b([a-z])\.", code), "place", "reason", "changed"}
    names = sorted(words - known)
    wider = dataclasses.replace(JOBS, columns=(*JOBS.columns, *(Column(n, "text", "") for n in names)))
    monkeypatch.setitem(TABLES, "jobs", wider)
    lines = [job("A") | dict.fromkeys(names, ""), job("A") | {n: f"v {n}" for n in names}]
    ws.write("1.csv", csv_of(*lines, *(job("B", unit_id=u) | dict.fromkeys(names, "x") for u in "UV")))
    ws.load(mapping(WORDS[0]))
    shown = ", ".join(f'"{n}"' for n in names)
    assert ws.rows(f"select {shown} from jobs") == [tuple(f"v {n}" for n in names)]
    raws = ws.rows("select raw from refused order by source_row")
    assert [json.loads(raw)["unit_id"] for (raw,) in raws] == ["U", "V"]
