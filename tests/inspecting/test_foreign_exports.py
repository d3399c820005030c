"""From three foreign exports to the first come-back rate: what `rqa map` and `rqa inspect` say on the way is so."""

import sqlite3
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

import rqa
from rqa.cli import main
from rqa.demo.foreign import STATES, foreign_exports


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return foreign_exports(tmp_path_factory.mktemp("foreign"), jobs=80)


def read(folder: Path) -> dict[str, pd.DataFrame]:
    """The three files by another library."""
    db = sqlite3.connect(folder / "pruebas.db")
    try:
        tests = pd.read_sql_query("select * from pruebas", db)
    finally:
        db.close()
    return {
        "jobs": pd.read_csv(folder / "opdrachten.csv", sep=";", dtype=str, keep_default_na=False),
        "steps": pd.read_excel(folder / "Protokoll.xlsx", header=2, dtype=str), "diagnostics": tests,
    }


def test_the_same_seed_gives_the_same_rows(tmp_path: Path) -> None:
    a, b = foreign_exports(tmp_path / "a", jobs=20), foreign_exports(tmp_path / "b", jobs=20)
    assert (a / "opdrachten.csv").read_bytes() == (b / "opdrachten.csv").read_bytes()
    assert all(x.equals(y) for x, y in zip(read(a).values(), read(b).values(), strict=True))


def test_the_command_ends_with_what_is_seen(folder: Path) -> None:
    (folder / "sources.toml").unlink(missing_ok=True)
    done = CliRunner().invoke(main, ["map", str(folder)])
    assert done.exit_code in (0, 2), done.output
    for part in ("Words of a status", "Linked:", "Next line to add", "First rows"):
        assert part in done.output
    assert "Techniker 1" not in done.output, "a name of a person"


def test_what_is_seen_is_what_is_in_the_files(folder: Path) -> None:
    made = rqa.propose(folder, write=False) if not (folder / "sources.toml").exists() else None
    found = rqa.inspect(folder) if made is None else rqa.inspect(folder, mapping=made.mapping)
    raw = read(folder)
    for table, frame in raw.items():
        assert sum(f.in_file for f in found.report.files if f.table == table) == len(frame), table
    words = {w.word: w.rows for w in found.seen.words if w.table == "jobs" and w.column == "disposition"}
    assert words == raw["jobs"]["Status"].value_counts().to_dict()
    assert set(words) <= set(STATES)


def test_the_guesses_are_a_table_of_all_lines(tmp_path: Path) -> None:
    made = rqa.propose(foreign_exports(tmp_path, jobs=40), write=False)
    assert not (tmp_path / "sources.toml").exists()
    written = [(e["table"], c) for e in made.mapping["table"] if "from" in e for c in e["columns"]]
    live = made.table.filter(made.table["to_do"] != "to fill")
    assert set(written) <= {*live.select("table", "column").rows()}
    assert set(made.table["to_do"]) <= {"", "check this", "to fill"}
