"""How the notebooks are checked: every stored output is compared, against a store built from the sample's own files."""

import os
from pathlib import Path

import pytest

from rqa.notebooks import STILL

HERE = Path(__file__).resolve().parent
IN_THE_GATE = ("00_start_here", "02_come_backs", "05_control_charts", "08_month")
"""Notebooks that every run of the tests compares; CI compares the others too."""
OUTPUT_SECONDS = 120
os.environ[STILL] = "1"


def pytest_collectstart(collector: pytest.Collector) -> None:
    """Compare charts by their Vega, not by their picture, whose labels move with fonts."""
    if type(collector).__name__ == "IPyNbFile":
        collector.skip_compare += ("image/svg+xml",)


def pytest_itemcollected(item: pytest.Item) -> None:
    """Marks the cells of notebooks that the gate leaves to CI."""
    if type(item).__name__ == "IPyNbCell" and item.path.parent == HERE and item.path.stem not in IN_THE_GATE:
        item.add_marker("slow")


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
        from tests.sample_store import fresh_store

        fresh_store()
