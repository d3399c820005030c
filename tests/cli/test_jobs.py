"""The lists of `rqa jobs`: one at a time, and no option that would be passed over without a word."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.lists import listed
from tests.depots import depot_of
from tests.review.good_or_bad import DAY, made


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(made(bad=True, jobs=60), DAY) as opened:
        yield opened


@pytest.mark.parametrize(("asked", "said"), [
    ({}, "none was given"),
    ({"unit": "U1", "lot": "P:L"}, "not --unit and --lot"),
    ({"lot": "P:L", "month": "2024-05"}, "--month cannot go with --lot"),
    ({"lot": "P:L", "window": 90}, "--window cannot go with --lot"),
    ({"unit": "U1", "returned": True}, "--returned cannot go with --unit"),
    ({"finding": "F-1", "window": 90}, "--window cannot go with --finding"),
    ({"lot": "AC-31"}, "PART:LOT"),
])
def test_what_cannot_be_asked_together_is_said(depot: Depot, asked: dict[str, str], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        listed(depot, **asked)  # type: ignore[arg-type]


def test_the_window_is_thirty_days_unless_given(depot: Depot) -> None:
    for days in (30, 90):
        counted = depot.comebacks(days).table["returned"].sum()
        assert listed(depot, where="", window=days, returned=True).table.height == counted
    assert listed(depot, where="", returned=True).table.height == depot.comebacks(30).table["returned"].sum()


def test_a_month_alone_is_the_repairs_closed_in_it(depot: Depot) -> None:
    month = str(depot.comebacks(by="month").table["month"][0])[:7]
    assert listed(depot, month=month).table.height == depot.comebacks(months=month).table["jobs"].sum()


def test_output_that_nobody_reads_is_no_fault_of_the_disk(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text("Order,Serial\n1,2\n", encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, "-m", "rqa", "map", str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdout.close()
        assert "disk" not in run.stderr.read()
