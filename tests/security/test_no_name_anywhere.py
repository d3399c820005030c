"""With a key no name is anywhere but in the sources: 24 of them are planted and looked for after every command.

Looked at are the bytes of every file, those in zipped workbooks, all tables of the store as text, and what is said. The
same search finds the names where there is no key, so that it can fail.
"""

import os
import signal
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner

import rqa.store.load as loading
from rqa.cli import WENT_WRONG, main
from rqa.errors import MappingError, RequestError, RqaError, StoreError
from rqa.notebooks import copy_notebooks, run_notebooks
from rqa.records import broken_records
from rqa.review.describe import describe
from rqa.review.facts import MonthFacts
from rqa.store.engine import connect
from rqa.store.load import load
from tests.security.planted_names import (
    NAMES,
    as_toml,
    csv_of,
    in_bytes,
    in_store,
    mapping,
    rows_of,
    where,
    write_sources,
)

KILLED = """
import os, signal, sys
import rqa.progress_line as line
from contextlib import contextmanager
from rqa.__main__ import run

moment, *words = sys.argv[1:]
@contextmanager
def listening():
    def at(stage):
        if moment in stage.what:
            os.kill(os.getpid(), signal.SIGKILL)
    yield at
line.progress_line = listening
sys.argv = ["rqa", *words]
run()
"""


@dataclass
class Planted:
    """A workspace with names in its sources, and the folder for temporary files."""

    workspace: Path
    temporary: Path
    key: Path

    def write_mapping(self, **workspace: Any) -> dict[str, Any]:
        plain = mapping(self.key, **workspace)
        (self.workspace / "sources.toml").write_text(as_toml(plain), encoding="utf-8")
        return plain

    def run(self, *words: str, code: int = 0) -> str:
        """Run a command, and look for names in what it says and leaves; gives what it said."""
        done = CliRunner().invoke(main, [words[0], str(self.workspace), *words[1:]])
        assert done.exit_code == code, done.output
        assert where(self.workspace, self.temporary, done.output) == {}
        return done.output

    def killed(self, moment: str) -> None:
        """Kill a load without mercy when it comes to something, and look for names in what it leaves."""
        done = subprocess.run(
            [sys.executable, "-c", KILLED, moment, "load", str(self.workspace)],
            capture_output=True, text=True, check=False, timeout=120, env=os.environ | {"TMPDIR": str(self.temporary)},
        )
        assert done.returncode == -signal.SIGKILL, done.stderr
        assert list(self.workspace.glob("depot.duckdb.new-*"))
        assert where(self.workspace, self.temporary, done.stdout, done.stderr) == {}

    def notebooks(self, *begins: str) -> None:
        """Copy and run notebooks, and look for names in what they show."""
        chosen = [p for p in copy_notebooks(self.workspace) if p.name.startswith(begins)]
        assert chosen
        assert [run.failure for run in run_notebooks(chosen) if run.failure] == []
        assert where(self.workspace, self.temporary) == {}


def planted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, each: int) -> Planted:
    made = Planted(tmp_path / "ws", tmp_path / "temporary", tmp_path / "key")
    made.temporary.mkdir()
    made.key.write_bytes(b"a key for the tests alone")
    monkeypatch.setattr(tempfile, "tempdir", str(made.temporary))
    write_sources(made.workspace, each)
    made.write_mapping()
    return made


def every_command(there: Planted, notebooks: tuple[str, ...]) -> None:
    """A depot's life: load, correction, a load that fails, an action, the page, the workbook, a list, notebooks."""
    said = there.run("load", code=WENT_WRONG)
    assert "not a date and time" in said
    changed = [r | {"model": "Marl-8", "Worker": NAMES[-1 - n % 24]} for n, r in enumerate(rows_of("alder", 1))]
    (there.workspace / "alder_2.csv").write_bytes(csv_of(changed[:80], "utf-8"))
    plain = there.write_mapping()
    plain["files"]["alder"] |= {"path": ["alder.csv"]}
    plain["files"]["later"] = {"path": "alder_2.csv", "delimiter": ";"}
    plain["table"].append(plain["table"][0] | {"from": "later"})
    (there.workspace / "sources.toml").write_text(as_toml(plain), encoding="utf-8")
    assert there.run("load", code=WENT_WRONG).splitlines()[-1].startswith("Stored")
    bad = plain | {"table": [*plain["table"], {"table": "parts", "from": "dunes", "columns": {
        "job_id": "Order", "line": {"sql": "cast(Worker as integer)"}, "part_no": "model"}}]}
    (there.workspace / "sources.toml").write_text(as_toml(bad), encoding="utf-8")
    assert "may hold a name" in there.run("load", code=1)
    (there.workspace / "sources.toml").write_text(as_toml(plain), encoding="utf-8")
    there.run("action", "--what", f"shown to {NAMES[1]}", "--owner", NAMES[14], "--started-on", "2025-06-01",
              "--scope", "site=Alder")
    there.run("load", code=WENT_WRONG)
    with pytest.MonkeyPatch.context() as patch:
        # The page and the workbook are made of the same facts, which take long to be asked.
        facts: list[MonthFacts] = []

        def once(*asked: Any) -> MonthFacts:
            facts.append(facts[0] if facts else describe(*asked))
            return facts[-1]

        patch.setattr("rqa.review.page.describe", once)
        patch.setattr("rqa.review.workbook.describe", once)
        there.run("review", "--month", "2025-05")
        there.run("review", "--month", "2025-05", "--format", "xlsx")
        there.run("review", "--month", "2025-05", "--format", "email")
    there.run("jobs", "--where", "", "--people", "--to", str(there.workspace / "list.csv"))
    assert {p.suffix for p in there.workspace.iterdir()} >= {".html", ".xlsx", ".eml", ".csv", ".duckdb"}
    there.notebooks(*notebooks)


@pytest.mark.skipif(not hasattr(os, "memfd_create"), reason="no copies in memory")
def test_no_name_is_left_by_any_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = planted(tmp_path, monkeypatch, each=1)
    there.killed("checking jobs")
    every_command(there, ("01",))


@pytest.mark.long
def test_no_name_is_left_by_any_command_killed_at_any_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = planted(tmp_path, monkeypatch, each=4)
    moments = ("reading alder.csv", "reading birch.xlsx", "reading cedar.jsonl", "reading dunes.db", "checking jobs",
               "reading select", "checking steps", "linking jobs")
    for moment in moments:
        there.killed(moment)
    there.run("inspect", code=WENT_WRONG)
    every_command(there, ("0", "10"))
    assert NAMES[1] not in there.run("action")
    (there.workspace / "alder.csv").write_bytes(b"\n" + (there.workspace / "alder.csv").read_bytes())
    for moment in moments[:1]:
        there.killed(moment)


def test_the_search_finds_the_names_where_there_is_no_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every name in the store, most of them in the report, and in what is kept whole with a key."""
    there = planted(tmp_path, monkeypatch, each=1)
    there.key = Path()
    report = load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(Path()))
    stored = in_store(there.workspace / "depot.duckdb", 0)
    for name in NAMES:
        assert any(n in name.encode().lower() for n in stored), name
    assert in_bytes(str(report).encode())
    assert where(there.workspace, there.temporary)


def test_records_that_are_no_rows_are_kept_whole_only_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = planted(tmp_path, monkeypatch, each=1)
    store = there.workspace / "depot.duckdb"

    def loaded(**workspace: str) -> list[tuple[Any, ...]]:
        load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(there.key, **workspace))
        with duckdb.connect(":memory:") as connection:
            connection.execute(f"attach '{store}' as depot (read_only)")
            return connection.execute(
                "select source_file, source_row, rule, raw from depot.refused where column_name is null order by all"
            ).fetchall()

    cut = loaded()
    assert {file for file, *_ in cut} == {"alder.csv", "cedar.jsonl", "log.csv"}
    assert {raw for *_, raw in cut} == {None}
    whole = loaded(broken_records="keep")
    assert [r[:3] for r in whole] == [r[:3] for r in cut]
    assert None not in {raw for *_, raw in whole}
    with pytest.raises(StoreError, match=r"no records may be stored.*Delete it"):
        loaded()
    with pytest.raises(StoreError, match=r"no records may be stored.*Delete it"):
        loaded(broken_records="encrypted")
    store.unlink()
    sealed = loaded(broken_records="encrypted")
    assert where(there.workspace, there.temporary) == {}
    assert sorted(r[:3] for r in sealed) == sorted(r[:3] for r in whole)
    read = broken_records(there.workspace, there.key)
    assert sorted(read.rows()) == sorted(whole)
    assert [r for r in read["record"] if r in {s[3] for s in sealed}] == []
    other = tmp_path / "other"
    other.write_bytes(b"another key")
    with pytest.raises(RequestError, match=r"this key opens none of the encrypted records"):
        broken_records(there.workspace, other)
    shown = CliRunner().invoke(main, ["records", str(there.workspace), "--key-file", str(there.key)])
    assert (shown.exit_code, shown.output.count("\n")) == (0, 2 * len(whole))
    assert in_bytes(shown.output.encode())


def test_encrypted_records_ask_for_a_key_and_for_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = planted(tmp_path, monkeypatch, each=1)

    def loaded(key: Path) -> None:
        load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(key, broken_records="encrypted"))

    with pytest.raises(MappingError, match=r"'encrypted' takes the key of a key_file, and no column has one"):
        loaded(Path())
    monkeypatch.setitem(sys.modules, "cryptography.fernet", None)
    with pytest.raises(MappingError, match=r"need the package cryptography.*pip install 'rqa\[encrypt\]'"):
        loaded(there.key)


def test_a_store_from_before_there_was_a_key_is_not_added_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = planted(tmp_path, monkeypatch, each=1)
    load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(Path()))
    with pytest.raises(StoreError, match=r"no names and no records and no texts may be stored.*Delete it"):
        load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(there.key))


def test_a_column_of_names_is_not_stored_beside_its_pseudonyms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = planted(tmp_path, monkeypatch, each=1)
    plain = mapping(there.key)
    plain["table"][1]["columns"] |= {"complaint": "Worker"}
    with pytest.raises(MappingError, match=r"complaint: it would hold 'Worker' as it is"):
        load(there.workspace, version="0", keep=lambda *_: None, mapping=plain)


def test_a_header_that_is_a_row_is_not_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = planted(tmp_path, monkeypatch, each=1)
    (there.workspace / "log.csv").write_text(f"J1;open;pass;2025-01-01;{NAMES[0]};{NAMES[1]}\n", encoding="utf-8")
    plain = mapping(there.key)
    plain["table"] = [plain["table"][0], {"table": "steps", "from": "log", "columns": {
        "technician": {"column": "who", "key_file": str(there.key)}, "ended_at": "at"}}]
    with pytest.raises(RqaError, match=r"columns of other names") as told:
        load(there.workspace, version="0", keep=lambda *_: None, mapping=plain)
    assert in_bytes(str(told.value).encode()) == set()


def test_nothing_is_moved_out_of_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine of a load with a key has no folder for that; what does not fit fails, and nothing is left."""
    there = planted(tmp_path, monkeypatch, each=1)
    seen: list[Any] = []

    def noted(*args: Any, **settings: Any) -> Any:
        seen.append(settings["spill"])
        return connect(*args, **settings)

    monkeypatch.setattr(loading, "connect", noted)
    load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(there.key), write=False)
    load(there.workspace, version="0", keep=lambda *_: None, mapping=mapping(Path()), write=False)
    assert seen == [False, True]
    big = "create temp table t as select i::varchar || random()::varchar as n from range(1000000) x(i)"
    for spill in seen:
        folder = tmp_path / f"spill {spill}"
        folder.mkdir()
        connection = connect(folder / "a.duckdb", read_only=False, scratch=folder, memory="30MB", spill=spill)
        try:
            if spill:
                connection.execute(big).fetchall()
            else:
                with pytest.raises(duckdb.OutOfMemoryException):
                    connection.execute(big).fetchall()
            assert bool(list(folder.glob("*.tmp"))) == spill
        finally:
            connection.close()
