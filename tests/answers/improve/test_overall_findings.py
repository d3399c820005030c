"""The month's own figures as findings: each size lies in an interval that is one of the difference."""

from collections.abc import Iterator
from math import sqrt

import pytest

from rqa.answers.charts.month import last_whole_month
from rqa.answers.core.scope import Snapshot
from rqa.answers.improve.overall_findings import FIGURES, against_before, projected
from rqa.depot import Depot
from tests.depots import depot_of
from tests.review.made_depot import made_tables


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(made_tables(jobs=300, days=300)) as opened:
        yield opened


@pytest.fixture(scope="module")
def snapshot(depot: Depot) -> Snapshot:
    return depot._snapshot


def wilson(events: int, size: int) -> tuple[float, float]:
    """Both ends as Wilson (1927) writes them."""
    z, p = 1.959963984540054, events / size
    middle, reach = p + z * z / (2 * size), z * sqrt(p * (1 - p) / size + z * z / (4 * size * size))
    return (middle - reach) / (1 + z * z / size), (middle + reach) / (1 + z * z / size)


def test_a_projection_s_interval_carries_that_of_the_months_before(depot: Depot, snapshot: Snapshot) -> None:
    months = depot.projection(30).table
    own = months.filter(months["matured"] < months["jobs"]).row(0, named=True)
    (found, *_) = projected(snapshot, own["month"])
    earlier = months.filter((months["month"] < own["month"]) & (months["matured"] == months["jobs"])).tail(12)
    events, size = int(earlier["returned_so_far"].sum()), int(earlier["matured"].sum())
    low, high = wilson(events, size)
    gap = own["projected"] - events / size
    down = sqrt((own["projected"] - own["low"]) ** 2 + (high - events / size) ** 2)
    up = sqrt((own["high"] - own["projected"]) ** 2 + (events / size - low) ** 2)
    assert (found.size, found.low, found.high) == pytest.approx((gap, gap - down, gap + up))
    assert found.high - found.low > own["high"] - own["low"]


def test_every_size_lies_within_its_interval(snapshot: Snapshot) -> None:
    finals = {f.window: m for f in FIGURES if (m := last_whole_month(snapshot, "comebacks", f.window)) is not None}
    made = list(against_before(snapshot, finals[30], finals))
    assert len(made) >= 3
    assert [f.kind for f in made if not f.low <= f.size <= f.high] == []
