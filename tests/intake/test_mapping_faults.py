"""Faults of the mapping stop the load before a row is read, say where they are and what exists, and change nothing."""

import os
from pathlib import Path
from typing import Any

import pytest

from rqa.errors import MappingError, SourceError
from tests.workspaces import Workspace, csv_of, job

FILES = '[files.f]\npath = "jobs.csv"\n'
TABLE = '[[table]]\ntable = "jobs"\nfrom = "f"\n'
FAULTS: dict[str, tuple[str, list[str]]] = {
    # name: (sources.toml, what the error says)
    "not TOML": ("[files.f\npath = 1", ["sources.toml is not valid TOML", "line 1"]),
    "not UTF-8": ("[workspace]\ntitle = 'Gr\udcf6\udcdfe'", ["not valid TOML"]),
    "unknown table of the file": ("[workspce]\n" + FILES + TABLE, ["workspce", "did you mean 'workspace'"]),
    "unknown key of files": (
        FILES + 'delimeter = ";"\n' + TABLE,
        ["files.f.delimeter: unknown key", "did you mean 'delimiter'", "encoding"],
    ),
    "unknown key of a table": (FILES + TABLE + 'form = "x"\n', ["table.1.form: unknown key", "did you mean 'from'"]),
    "unknown key of a column": (
        FILES + TABLE + 'columns.site = { colum = "x" }\n',
        ["table.1.columns.site", "did you mean 'column'"],
    ),
    "unknown word for lines": (
        FILES + TABLE + 'lines = "one jobs"\n',
        ["table.1.lines: 'one jobs' does not say what lines make", "did you mean 'one job'", "one job per file"],
    ),
    "lines that are no text": (FILES + TABLE + "lines = true\n", ["table.1.lines: must be a text in quotes"]),
    "lines of another table": (
        FILES + TABLE.replace("jobs", "steps") + 'lines = "one job"\n',
        ["table.1.lines: lines become one job in the table jobs alone, not in steps", "let job_id give the job"],
    ),
    "unknown contract table": (FILES + TABLE.replace("jobs", "job"), ["no table 'job'", "did you mean 'jobs'"]),
    "unknown contract column": (
        FILES + TABLE + 'columns.unit = "x"\n',
        ["jobs has no column 'unit'", "did you mean 'unit_id'"],
    ),
    "unknown source column": (
        FILES + TABLE + 'columns.found = "modell"\n',
        ["jobs.csv has no column 'modell'", "did you mean 'model'", "job_id"],
    ),
    "two unknown source columns": (
        FILES + TABLE + 'columns.found = "modell"\ncolumns.billing = "bill"\n',
        ["found: jobs.csv has no column 'modell'", "billing: jobs.csv has no column 'bill'"],
    ),
    "from and select": (FILES + TABLE + 'select = "select 1"\n', ["either from", "or select"]),
    "neither from nor select": (FILES + '[[table]]\ntable = "jobs"\n', ["either from", "or select"]),
    "unknown files": (FILES + TABLE.replace('"f"', '"g"'), ["table.1.from: no files 'g'", "There is: f"]),
    "no tables": (FILES, ["no [[table]]"]),
    "empty": ("", ["no [[table]]"]),
    "files without path": ("[files.f]\n" + TABLE, ["files.f: path is missing"]),
    "empty path": (FILES.replace("jobs.csv", "") + TABLE, ["files.f.path"]),
    "absolute path": (FILES.replace("jobs.csv", "/data/jobs.csv") + TABLE, ["'/data/jobs.csv' is absolute"]),
    "no such file": (FILES.replace("jobs", "job") + TABLE, ["no file 'job.csv'", "jobs.csv"]),
    "a folder": (FILES.replace("jobs.csv", "sub") + TABLE, ["'sub' is a folder", "sub/*.csv"]),
    "ending that tells nothing": (FILES.replace("jobs.csv", "jobs.dat") + TABLE, ["jobs.dat", "set format"]),
    "unknown format": (FILES + 'format = "xml"\n' + TABLE, ["files.f.format", "csv"]),
    "unknown zone": (FILES + 'zone = "Lisbon"\n' + TABLE, ["files.f.zone", "'Lisbon' is no time zone"]),
    "unknown zone of a site": ("[sites.A]\nzone = 'x'\n" + FILES + TABLE, ["sites.A.zone", "no time zone"]),
    "site without zone": ("[sites.A]\n" + FILES + TABLE, ["sites.A.zone"]),
    "unknown encoding": (FILES + 'encoding = "ansi5"\n' + TABLE, ["files.f.encoding", "no text encoding"]),
    "codec that is no text encoding": (FILES + 'encoding = "base64"\n' + TABLE, ["files.f.encoding"]),
    "bad decimal": (FILES + 'decimal = ";"\n' + TABLE, ["files.f.decimal"]),
    "thousands equal to decimal": (FILES + 'decimal = ","\nthousands = ","\n' + TABLE, ["both"]),
    "thousands that is a digit": (FILES + 'thousands = "1"\n' + TABLE, ["files.f.thousands"]),
    "header row -1": (FILES + "header_row = -1\n" + TABLE, ["files.f.header_row"]),
    "delimiter of two": (FILES + 'delimiter = "||"\n' + TABLE, ["files.f.delimiter"]),
    "quote of two": (FILES + 'quote = "xx"\n' + TABLE, ["files.f.quote"]),
    "time format with a zone's name": (FILES + 'times = ["%d.%m.%Y %Z"]\n' + TABLE, ["files.f.times", "%Z"]),
    "time format that is none": (FILES + 'times = ["dd.mm.yyyy"]\n' + TABLE, ["files.f.times", "dd.mm.yyyy"]),
    "time format that DuckDB does not know": (FILES + 'times = ["%d.%Q"]\n' + TABLE, ["%Q"]),
    "bad where": (FILES + TABLE + "where = '\"kind\" = 1'\n", ["table.1 (jobs)", "kind"]),
    "where that is no SQL": (FILES + TABLE + "where = 'site ='\n", ["table.1 (jobs)", "not valid SQL"]),
    "where that closes too early": (FILES + TABLE + "where = 'true); drop table jobs; --'\n", ["table.1 (jobs)"]),
    "bad sql": (FILES + TABLE + "columns.site = { sql = 'lower(nowhere)' }\n", ["table.1 (jobs)", "nowhere"]),
    "bad regular expression": (
        FILES + TABLE + 'columns.site = { column = "site", replace = [["(", ""]] }\n',
        ["table.1.columns.site.replace", "'('"],
    ),
    "column and sql": (FILES + TABLE + "columns.site = { column = 'site', sql = '1' }\n", ["exactly one of"]),
    "bad select": (FILES + '[[table]]\ntable = "jobs"\nselect = "select nowhere from f"\n', ["table.1", "nowhere"]),
    "select over nothing": (FILES + '[[table]]\ntable = "jobs"\nselect = "select 1 as x"\n', ["names no files", "f"]),
    "select that changes the store": (
        FILES + '[[table]]\ntable = "jobs"\nselect = "delete from jobs returning * -- f"\n',
        ["table.1 (jobs)", "only a SELECT"],
    ),
    "select over a file nobody named": (
        FILES + '[[table]]\ntable = "jobs"\nselect = "select * from f join elsewhere using (job_id)"\n',
        ["table.1 (jobs)", "elsewhere"],
    ),
    "name that is none": ('[files."a b"]\npath = "jobs.csv"\n' + TABLE.replace('"f"', '"a b"'), ["a b", "letters"]),
    "required column nobody gives": (
        FILES.replace("jobs.csv", "short.csv") + TABLE,
        ["unit_id is required", "site is required", "There is: job_id"],
    ),
    "several at once": (
        FILES + "heder_row = 1\nzone = 'x'\n" + TABLE + "columns.sight = 'x'\nwher = 'x'\n",
        ["(4 faults)", "heder_row", "zone", "wher", "sight"],
    ),
}


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """A workspace with a store."""
    ws = Workspace(tmp_path_factory.mktemp("ws"))
    (ws.folder / "sub").mkdir()
    ws.write("jobs.csv", csv_of(job("A")))
    ws.write("jobs.dat", csv_of(job("A")))
    ws.write("short.csv", "job_id\nA\n")
    ws.write("sources.toml", FILES + TABLE)
    ws.load()
    return ws


@pytest.mark.parametrize("name", FAULTS)
def test_fault_stops_the_load_and_is_told(standing: Workspace, name: str) -> None:
    text, parts = FAULTS[name]
    standing.write("sources.toml", text.encode("utf-8", "surrogateescape"))
    standing.write("jobs.csv", csv_of(job("A"), job("NEW")))
    digest, names = standing.digest(), standing.names()
    with pytest.raises(MappingError) as caught:
        standing.load()
    assert [p for p in parts if p not in str(caught.value)] == [], str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert standing.digest() == digest
    assert standing.names() == names


def test_missing_mapping(tmp_path: Path) -> None:
    with pytest.raises(MappingError, match=r"has no sources\.toml"):
        Workspace(tmp_path).load()
    with pytest.raises(MappingError, match="is not a folder"):
        Workspace(tmp_path / "nowhere").load()
    (tmp_path / "file").write_text("x")
    with pytest.raises(MappingError, match="is not a folder"):
        Workspace(tmp_path / "file").load()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file"]


def test_fault_in_the_second_file_stops_before_the_first_is_read(ws: Workspace) -> None:
    read: list[str] = []
    ws.write("a.csv", csv_of(job("A")))
    ws.write("b.csv", "job_id\nB\n")
    with pytest.raises(MappingError, match=r"b\.csv"):
        ws.load(
            {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]},
            progress=lambda stage: read.append(stage.what),
        )
    assert read == []


def test_file_that_goes_bad_while_others_are_good_stops_the_load(ws: Workspace) -> None:
    ws.write("a.csv", csv_of(job("A")))
    ws.write("b.csv.gz", b"\x1f\x8b")
    mapping: dict[str, Any] = {"files": {"f": {"path": "*.csv*"}}, "table": [{"table": "jobs", "from": "f"}]}
    with pytest.raises(SourceError, match=r"b\.csv\.gz"):
        ws.load(mapping)
    assert not ws.store.exists()


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("none_*.csv", "that folder holds: jobs.csv"),
        ("nowhere/*.csv", "there is no folder 'nowhere'"),
        ("jobs[.csv", "that folder holds: jobs.csv"),
        ("**", "that folder holds: jobs.csv"),
        ("*.CSV", "that folder holds: jobs.csv"),
    ],
)
def test_wildcard_that_meets_nothing_is_a_fault_unless_its_files_are_optional(
    ws: Workspace, path: str, said: str
) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    files: dict[str, Any] = {"path": path, "format": "csv"}
    with pytest.raises(MappingError) as caught:
        ws.load({"files": {"f": files}, "table": [{"table": "jobs", "from": "f"}]})
    assert f"no file fits {path!r}; {said}. Set optional = true" in str(caught.value)
    report = ws.load({"files": {"f": files | {"optional": True}}, "table": [{"table": "jobs", "from": "f"}]})
    assert report.files == ()
    assert ws.one("select count(*) from jobs") == 0


def test_wildcard_whose_files_are_gone_since_is_no_fault(ws: Workspace) -> None:
    ws.write("in/jobs.csv", csv_of(job("A")))
    mapping = {"files": {"f": {"path": "in/*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.load(mapping)
    (ws.folder / "in" / "jobs.csv").unlink()
    assert [r.remark for r in ws.load(mapping).remarks if "gone" in r.remark]
    assert ws.one("select count(*) from jobs") == 1


@pytest.mark.parametrize("path", ["in/*.csv", "*/*.csv", "**/*.csv"])
def test_a_folder_that_cannot_be_read_fails_the_load(ws: Workspace, path: str, monkeypatch: pytest.MonkeyPatch) -> None:
    ws.write("in/jobs.csv", csv_of(job("A")))
    ws.write("out/jobs.csv", csv_of(job("B")))
    looks = os.scandir

    def denied(place: Any = ".") -> Any:
        if str(place).endswith("in"):
            raise PermissionError(13, "Permission denied", str(place))
        return looks(place)

    monkeypatch.setattr(os, "scandir", denied)
    files = {"path": path, "optional": True}
    with pytest.raises(MappingError, match="the folder 'in' cannot be read: Permission denied"):
        ws.load({"files": {"f": files}, "table": [{"table": "jobs", "from": "f"}]})


def test_patterns_then_natural_order_of_names(ws: Workspace) -> None:
    for name in ("b10.csv", "b9.csv", "a2.csv", "B1.csv", "sub/b1.csv"):
        ws.write(name, csv_of(job("A", model=name)))
    report = ws.load(
        {
            "files": {"f": {"path": ["b*.csv", "*/b*.csv", "a*.csv", "b9.csv"]}},
            "table": [{"table": "jobs", "from": "f"}],
        }
    )
    assert [f.source_file for f in report.files] == ["b9.csv", "b10.csv", "sub/b1.csv", "a2.csv"]
    assert ws.one("select model from jobs") == "a2.csv"
