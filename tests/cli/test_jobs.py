"""The lists of `rqa jobs`: one at a time, and no option that would be passed over without a word."""

from collections.abc import Iterator

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
    ({"lot": "P:L", "people": True}, "--people without --returned cannot go with --lot"),
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
