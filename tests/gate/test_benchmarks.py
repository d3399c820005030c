"""The benchmarks are run by hand: what they name is there, so that a renaming does not leave them behind."""

from importlib import import_module
from pathlib import Path

import duckdb
import pytest

from tests.depots import make_store
from tests.odd_depots.questions import public_questions

BENCH = Path(__file__).parents[1] / "bench"


def test_columns_scanned_beside_a_question_are_in_the_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(BENCH))
    needed = import_module("tests.bench.diagnostics").NEEDED
    of_steps = [("steps", columns) for _, columns in import_module("tests.bench.risky").ASKED.values()]
    assert set(needed) <= set(public_questions())
    scans = [*(scan for one in needed.values() for scan in one.items()), *of_steps]
    assert len(scans) > 15
    with duckdb.connect(make_store(tmp_path / "depot.duckdb", {}), read_only=True) as store:
        for table, columns in scans:
            there = {name for name, *_ in store.execute(f"describe {table}").fetchall()}
            assert set(columns.split()) <= there, (table, columns)
