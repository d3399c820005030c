"""Bad CSV files: each row ends accepted or refused with its place and rule, or the file is refused with a reason."""

import gzip
import json

import pytest

from rqa.errors import MappingError, SourceError
from rqa.store.report import LoadReport
from tests.workspaces import HEADER, Workspace, csv_line, csv_of, job

GOOD = csv_line(job("G"))


def lines(*rows: str) -> str:
    return "\n".join([HEADER, *rows, ""])


SHORT = "S,U1,Quern,Alder"
LONG = csv_line(job("L")) + ",more,fields"
CASES = {
    # name: (content, reading, ids accepted, refusals (row, column, part of the rule, value))
    "byte-order mark": ("\ufeff" + lines(GOOD), {}, ["G"], []),
    "windows line ends": (csv_of(job("A"), job("B"), end="\r\n"), {}, ["A", "B"], []),
    "mixed line ends": (f"{HEADER}\r\n{csv_line(job('A'))}\n{csv_line(job('B'))}\r\n{GOOD}\n", {}, ["A", "B", "G"], []),
    "lone carriage returns": (csv_of(job("A"), job("B"), end="\r"), {}, ["A", "B"], []),
    "no line end at the end": (lines(GOOD).rstrip("\n"), {}, ["G"], []),
    "blank lines": (f"{HEADER}\n\n{csv_line(job('A'))}\n\n\n{GOOD}\n\n", {}, ["A", "G"], []),
    "fewer fields": (lines(GOOD, SHORT), {}, ["G"], [(3, None, "fewer fields", "")]),
    "more fields": (lines(GOOD, LONG, csv_line(job("B"))), {}, ["B", "G"], [(3, None, "more fields", "")]),
    "one field short and one over": (
        lines(SHORT, GOOD, LONG, csv_line(job("B", site=""))),
        {},
        ["G"],
        [(2, None, "fewer fields", ""), (4, None, "more fields", ""), (5, "site", "missing", None)],
    ),
    "broken rows behind blank lines": (
        f"{HEADER}\n\n{SHORT}\n\n{GOOD}\n{LONG}\n",
        {},
        ["G"],
        [(3, None, "fewer fields", ""), (6, None, "more fields", "")],
    ),
    "several blank lines before a broken row": (
        f"{HEADER}\n{csv_line(job('A'))}\n\n\n{SHORT}\n\n{LONG}\n{GOOD}\n",
        {},
        ["A", "G"],
        [(5, None, "fewer fields", ""), (7, None, "more fields", "")],
    ),
    "blank lines and windows line ends": (
        f"{HEADER}\r\n\r\n{SHORT}\r\n{GOOD}\r\n\r\n\r\n\"Q\"x\r\n{csv_line(job('A', model=''))}\r\n",
        {},
        ["G"],
        [(3, None, "fewer fields", ""), (7, None, "quote", ""), (8, "model", "missing", None)],
    ),
    "text after a quote": (
        lines(csv_line(job("A")), '"Q"x,U1,Quern,Alder,p,2024-03-01,repaired,2024-03-02', GOOD),
        {},
        ["A", "G"],
        [(3, None, "quote", "")],
    ),
    "quote never closed": (
        lines(csv_line(job("A")), '"Q,U1,Quern,Alder,p,2024-03-01,repaired,2024-03-02'),
        {},
        ["A"],
        [(3, None, "quote", "")],
    ),
    "quote never closed, mid-file": (
        lines(csv_line(job("A")), '"Q,U1', csv_line(job("B")), SHORT, csv_line(job("C"))),
        {},
        ["A", "B", "C"],
        [(3, None, "quote", ""), (5, None, "fewer fields", "")],
    ),
    "two quotes never closed": (
        lines('"Q,U1', csv_line(job("A")), '"R,U2', csv_line(job("B"))),
        {},
        ["B"],
        [(2, None, "quote", "runs on over 3 lines")],
    ),
    "inch marks": (lines(csv_line(job('8"', model='Marl 8"')), csv_line(job("B", model='8"'))), {}, ['8"', "B"], []),
    "blank lines in and around broken quotes": (
        lines('"A",U1,Quern,Alder,"x\n\ny",2024-03-01,repaired,2024-03-02', "", '"Q"x', "", SHORT, "", GOOD),
        {},
        ["A", "G"],
        [(6, None, "quote", ""), (8, None, "fewer fields", "")],
    ),
    "line ends in a field": (
        lines('"A",U1,Quern,Alder,"board\nswap",2024-03-01,repaired,2024-03-02', csv_line(job("B", model="")), GOOD),
        {},
        ["A", "G"],
        [(4, "model", "missing", None)],
    ),
    "doubled quotes": (lines('"A ""x""",U1,Quern,Alder,p,2024-03-01,repaired,2024-03-02'), {}, ['A "x"'], []),
    "delimiter in quotes": (lines('"A,1",U1,Quern,Alder,p,2024-03-01,repaired,2024-03-02'), {}, ["A,1"], []),
    "semicolons, guessed": (csv_of(job("A"), delimiter=";"), {}, ["A"], []),
    "tabs, guessed": (csv_of(job("A"), delimiter="\t"), {}, ["A"], []),
    "no quoting": (lines(csv_line(job('A"1'))), {"quote": ""}, ['A"1'], []),
    "formula-like text": (lines(csv_line(job("=1+1")), csv_line(job("+cmd|' /C x'!A0"))), {},
                          ["+cmd|' /C x'!A0", "=1+1"], []),
    "SQL-like ids": (lines(csv_line(job("'; drop table jobs; --")), csv_line(job("$1 ? {x}"))), {},
                     ["$1 ? {x}", "'; drop table jobs; --"], []),
    "HTML": (lines(csv_line(job("<script>alert(1)</script>"))), {}, ["<script>alert(1)</script>"], []),
    "emoji, accents, other scripts": (lines(csv_line(job("🔧é")), csv_line(job("日本"))), {}, ["日本", "🔧é"], []),
    "ids NA, null, None, nan": (
        lines(*(csv_line(job(i)) for i in ("NA", "null", "None", "nan", "NULL", "N/A"))),
        {},
        ["N/A", "NA", "NULL", "None", "nan", "null"],
        [],
    ),
    "ids NA and null that mean missing": (
        lines(csv_line(job("NA")), csv_line(job("null")), csv_line(job("None"))),
        {"missing": ["", "NA", "null"]},
        ["None"],
        [(2, "job_id", "missing", None), (3, "job_id", "missing", None)],
    ),
    "leading zeros, long numbers": (
        lines(*(csv_line(job(i)) for i in ("007", "7", "7.0", "12345678901234567890123", "1e5"))),
        {},
        ["007", "12345678901234567890123", "1e5", "7", "7.0"],
        [],
    ),
    "spaces around": (lines(csv_line(job("  A 1 ")), csv_line(job("\tB\t"))), {}, ["A 1", "B"], []),
    "only spaces": (
        lines(csv_line(job("   ")), csv_line(job("\t")), csv_line(job("\u00a0 \u3000"))),
        {},
        [],
        [(r, "job_id", "missing", None) for r in (2, 3, 4)],
    ),
    "quoted nothing": (lines('"",U1,Quern,Alder,p,2024-03-01,repaired,2024-03-02'), {}, [],
                       [(2, "job_id", "missing", None)]),
    "cp1252": (lines(csv_line(job("Größe"))).encode("cp1252"), {"encoding": "cp1252"}, ["Größe"], []),
    "cp1252 bytes in a file said to be utf-8": (
        lines(*(csv_line(job(i)) for i in ("A", "Größe", "B", "ÄÖÜ", "G"))).encode("cp1252"),
        {},
        ["A", "B", "G"],
        [(3, None, "bytes that are not text", ""), (5, None, "bytes that are not text", "")],
    ),
    "line ends in a field before a broken row": (
        lines(csv_line(job("A", procedure='"a\n\nb\r\nc"')), SHORT, "", csv_line(job("B", model="")), LONG, GOOD),
        {},
        ["A", "G"],
        [(6, None, "fewer fields", ""), (8, "model", "missing", None), (9, None, "more fields", "")],
    ),
    "utf-16": (lines(csv_line(job("Größe"))).encode("utf-16"), {"encoding": "utf-16"}, ["Größe"], []),
    "utf-16-le with a mark": (("\ufeff" + lines(csv_line(job("Größe")))).encode("utf-16-le"), {"encoding": "utf-16-le"},
                              ["Größe"], []),
    "latin-1, windows line ends, broken row": (
        f"{HEADER}\r\n{csv_line(job('é' * 40))}\r\n\r\n{SHORT}\r\n{GOOD}\r\n".encode("latin-1"),
        {"encoding": "latin-1"},
        ["G", "é" * 40],
        [(4, None, "fewer fields", "")],
    ),
    "NUL bytes": (lines(csv_line(job("A\0B")), GOOD), {}, ["A\0B", "G"], []),
    "field of several MB": (
        lines(csv_line(job("A")), csv_line(job("x" * 5_000_000)), GOOD),
        {},
        ["A", "G"],
        [(3, None, "line longer", "")],
    ),
    "field of one MB": (lines(csv_line(job("x" * 1_000_000))), {}, ["x" * 1_000_000], []),
    "header on line 3": ("Export\nof today\n" + lines(SHORT, GOOD), {"header_row": 3}, ["G"],
                         [(4, None, "fewer fields", "")]),
    "columns nobody asked for": (
        f"source,fault,{HEADER},select\n1,2,{GOOD},3\n1,2,{csv_line(job('B', site=''))},3\n",
        {},
        ["G"],
        [(3, "site", "missing", None)],
    ),
    "unnamed columns": (f"{HEADER},,\n{GOOD},,\n", {}, ["G"], []),
    "header only": (HEADER + "\n", {}, [], []),
    "header without line end": (HEADER, {}, [], []),
}


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Workspace, LoadReport]:
    """Every case as a file of one load; job ids are marked with the case's number, so that no two files share one."""
    ws = Workspace(tmp_path_factory.mktemp("ws"))
    files, tables = {}, []
    for number, (content, reading, *_) in enumerate(CASES.values()):
        ws.write(f"{number}.csv", content)
        files[f"f{number}"] = {"path": f"{number}.csv", **reading}
        job_id = {"sql": f"'{number}/' || \"job_id\""}
        tables.append({"table": "jobs", "from": f"f{number}", "columns": {"job_id": job_id} if content else {}})
    return ws, ws.load({"files": files, "table": tables})


@pytest.mark.parametrize("name", CASES)
def test_every_row_is_accounted_for(loaded: tuple[Workspace, LoadReport], name: str) -> None:
    ws, report = loaded
    _, _, accepted, refusals = CASES[name]
    number = list(CASES).index(name)
    mark, file = f"{number}/", f"{number}.csv"
    ids = ws.rows(f"select job_id from jobs where source_file = '{file}' order by 1")
    assert [i.removeprefix(mark) for (i,) in ids] == accepted
    found = ws.rows(
        f"select source_row, column_name, rule, value from refused where source_file = '{file}' order by all"
    )
    assert [(r, c) for r, c, _, _ in found] == [(r, c) for r, c, _, _ in refusals]
    for (_, _, rule, value), (_, _, part, expected) in zip(found, refusals, strict=True):
        assert part in rule
        assert expected == "" or value == expected
    (count,) = [f for f in report.files if f.source_file == file]
    assert (count.accepted, count.refused) == (len(accepted), len(refusals))
    assert count.in_file == count.read == len(accepted) + len(refusals)
    assert (count.known, count.superseded, count.left_out) == (0, 0, 0)


def test_empty_file_has_no_rows(ws: Workspace) -> None:
    assert ws.jobs("").total("in_file") == 0
    assert ws.jobs("\n\n", name="other.csv").total("in_file") == 0


def test_stored_text_is_the_text_of_the_file(ws: Workspace) -> None:
    ws.jobs(lines('A,u 1,Quern,Alder,"board\nswap; ""x""",2024-03-01,repaired,2024-03-02'))
    assert ws.one("select procedure, unit_id from jobs") == ('board\nswap; "x"', "U1")


def test_rows_that_are_none_are_counted_in_row_numbers(ws: Workspace) -> None:
    ws.jobs(lines(SHORT, csv_line(job("A")), LONG, csv_line(job("B")), csv_line(job("C"))))
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("A", 3), ("B", 5), ("C", 6)]


def test_refused_row_keeps_what_was_read(ws: Workspace) -> None:
    ws.jobs(f"{HEADER},source\n{csv_line(job('A', site=''))},x\n{SHORT}\n")
    raws = ws.rows("select raw from refused order by source_row")
    assert '"job_id":"A"' in raws[0][0]
    assert '"source":"x"' in raws[0][0]
    assert raws[1][0] == SHORT


def test_all_broken_rules_of_a_row_are_listed(ws: Workspace) -> None:
    row = job("", model="", opened_at="31.02.2024", disposition="fixed", closed_at="soon") | {
        "labour_minutes": "-5", "parts_cost": "1,5", "billing": "cash",
    }
    ws.jobs(csv_of(row, delimiter=";"))
    found = ws.refused()
    assert {(c, v) for _, c, _, v in found} == {
        ("job_id", None), ("model", None), ("opened_at", "31.02.2024"), ("disposition", "fixed"),
        ("closed_at", "soon"), ("labour_minutes", "-5"), ("parts_cost", "1,5"), ("billing", "cash"),
    }
    assert {r for r, *_ in found} == {2}


@pytest.mark.parametrize(
    ("content", "reading", "error", "parts"),
    [
        (f"jöb,{HEADER}\n".encode("cp1252"), {}, SourceError, ["jobs.csv", "line 1", "utf-8"]),
        (lines(csv_line(job("Größe"))).encode(), {"encoding": "cp1252"}, SourceError, ["jobs.csv", "utf-8"]),
        (lines(csv_line(job("A"))).encode("utf-16-le"), {}, SourceError, ["jobs.csv", "encoding = 'utf-16-le'"]),
        (lines(csv_line(job("\x81"))).encode("latin-1"), {"encoding": "cp1252"}, SourceError, ["0x81", "line 2"]),
        (f"{HEADER},site\n{GOOD},x\n", {}, MappingError, ["'site'", "more than once"]),
        (f"{HEADER},SITE\n{GOOD},x\n", {}, MappingError, ["SITE", "site"]),
        ("job_id,unit_id\nA,U\n", {}, MappingError, ["model is required", "site is required", "job_id, unit_id"]),
    ],
)
def test_unreadable_file_stops_the_load(ws: Workspace, content: str | bytes, reading, error, parts) -> None:
    ws.jobs(csv_of(job("OLD")), name="old.csv")
    before = ws.digest()
    with pytest.raises(error) as caught:
        ws.jobs(content, **reading)
    for part in parts:
        assert part in str(caught.value)
    assert ws.digest() == before
    assert not [n for n in ws.names() if ".new" in n]


def test_gzip_is_unpacked(ws: Workspace) -> None:
    assert ws.jobs(gzip.compress(csv_of(job("A")).encode()), name="jobs.csv.gz").total("accepted") == 1


@pytest.mark.parametrize(
    "content",
    [
        gzip.compress("\n".join([HEADER] + [csv_line(job(f"J{i}")) for i in range(20_000)]).encode())[:-2_000],
        gzip.compress(csv_of(job("A")).encode())[:30],
        csv_of(job("A")).encode(),
        b"",
    ],
    ids=["truncated far in", "truncated at once", "not a gzip", "no bytes"],
)
def test_broken_gzip_stops_the_load(ws: Workspace, content: bytes) -> None:
    ws.jobs(csv_of(job("OLD")), name="old.csv")
    before = ws.digest()
    with pytest.raises(SourceError, match=r"jobs\.csv\.gz"):
        ws.jobs(content, name="jobs.csv.gz")
    assert ws.digest() == before


@pytest.mark.parametrize("name", ["jobs.csv", "jobs.jsonl"])
def test_line_longer_than_any_buffer_is_refused_not_lost(ws: Workspace, name: str) -> None:
    rows = [job("A"), job("x" * 40_000_000), job("B")]
    report = ws.jobs(csv_of(*rows) if name == "jobs.csv" else "\n".join(map(json.dumps, rows)), name=name)
    first = 2 if name == "jobs.csv" else 1
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("A", first), ("B", first + 2)]
    (refused,) = ws.refused()
    assert refused[0] == first + 1
    assert refused[2].startswith("line longer than")
    assert refused[3].endswith(" bytes")
    assert ws.one("select len(raw) from refused") == 100_000
    assert report.total("in_file") == 3


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("quoted", [False, True])
def test_no_stretch_of_broken_rows_is_dropped(ws: Workspace, named: bool, quoted: bool) -> None:
    """The engine, reading in parallel, passes over a stretch that holds no sound row, and names none of it."""
    note = '"board\nswap"' if quoted else "board swap"
    rows = [csv_line(job(f"J{i}", procedure=note, model="x" * 300)) for i in range(26_000)]
    tall = 1 + quoted
    rows[20_000:25_000] = [f"{row},more" for row in rows[20_000:25_000]]
    ws.write("jobs.csv", lines(*rows))
    entry = {"table": "jobs", "select": "select * from f"} if named else {"table": "jobs", "from": "f"}
    report = ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [entry]})
    assert ws.one("select count(*) from jobs") == 21_000
    assert ws.one(f"select count(*) from jobs where source_row <> substr(job_id, 2)::int * {tall} + 2") == 0
    refused = ws.one("select count(*), min(source_row), max(source_row) from refused")
    assert refused == (5_000, 20_000 * tall + 2, 24_999 * tall + 2)
    assert [f.in_file for f in report.files if f.source_file == "jobs.csv"] == [26_000]


def test_quote_never_closed_in_a_large_file_costs_its_own_line(ws: Workspace) -> None:
    rows = [csv_line(job(f"J{i}")) for i in range(60_000)]
    report = ws.jobs(lines(*rows[:10], '"Q,U1', *rows[10:], SHORT, '"R"', csv_line(job("LAST"))))
    assert (report.total("in_file"), report.total("accepted")) == (60_004, 60_001)
    assert [r for r, *_ in ws.refused()] == [12, 60_003, 60_004]
    assert ws.one("select source_row from jobs where job_id = 'LAST'") == 60_005


def test_rows_keep_their_places_in_a_file_read_in_parallel(ws: Workspace) -> None:
    rows, refused = [], []
    for i in range(60_000):
        if i % 7_001 == 5:
            rows.append(SHORT)
            refused.append(i + 2)
        else:
            rows.append(csv_line(job(f"J{i}", procedure="board swap " + "x" * 300)))
    report = ws.jobs(lines(*rows))
    assert report.total("in_file") == 60_000
    assert [r for r, *_ in ws.refused()] == refused
    assert ws.one("select count(*) from jobs where source_row <> substr(job_id, 2)::int + 2") == 0
