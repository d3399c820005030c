"""How the notebooks are checked: every stored output is compared, against a store built from the sample's own files."""

from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_data"
STORE = SAMPLE / "depot.duckdb"
OUTPUT_SECONDS = 120


def _age(path: Path) -> int:
    return path.stat().st_mtime_ns


@cache
def fresh_store() -> None:
    """Make sure, once a session, that the store is not older than the sample's files or the code that loads them.

    It is built from nothing: a second load would show in the books that the notebooks print. Tests run side by side;
    whoever comes second finds it fresh.
    """
    from rqa.store.lock import writing

    with writing(STORE.with_name(f"{STORE.name}.fresh"), wait=OUTPUT_SECONDS):
        _build()


def _build() -> None:
    import rqa

    sources = [p for p in SAMPLE.rglob("*") if p.is_file() and not p.name.startswith(STORE.name)]
    code = [p for p in (ROOT / "rqa").rglob("*") if p.suffix in (".py", ".sql")]
    if not STORE.exists() or max(map(_age, [*sources, *code])) > _age(STORE):
        STORE.unlink(missing_ok=True)
        rqa.load(SAMPLE)


def pytest_collectstart(collector: pytest.Collector) -> None:
    """Compare charts by their Vega, not by their picture, whose labels move with fonts."""
    if type(collector).__name__ == "IPyNbFile":
        collector.skip_compare += ("image/svg+xml",)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Cells stay together and in their notebook's order, whatever order the other tests are put in."""
    cells = [item for item in items if type(item).__name__ == "IPyNbCell"]
    for cell in cells:
        cell.output_timeout = OUTPUT_SECONDS
    cells.sort(key=lambda cell: (str(cell.path), cell.cell_num))
    items[:] = [item for item in items if item not in cells] + cells


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    if type(item).__name__ == "IPyNbCell":
        fresh_store()
