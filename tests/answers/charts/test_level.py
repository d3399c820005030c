"""Since when a measure is at another level, on depots with a planted change."""

from datetime import date

import pytest

from rqa.errors import RequestError
from tests.answers.charts.test_months import depot_rows
from tests.depots import depot_of

YEAR = (11, 9, 12, 10, 13, 9, 11, 12, 10, 11, 10, 12)


def _months(counts: tuple[int, ...], size: int = 100) -> dict[str, tuple[int, int]]:
    return {f"{2024 + n // 12}-{n % 12 + 1:02d}": (size, back) for n, back in enumerate(counts)}


@pytest.mark.parametrize(
    ("after", "verdict", "since"),
    [
        ((3, 4, 2, 4), "better", date(2025, 1, 1)),
        ((22, 24, 21), "worse", date(2025, 1, 1)),
        ((11, 10, 12), "no clear change", None),
    ],
)
def test_the_planted_month_is_named(after: tuple[int, ...], verdict: str, since: date | None) -> None:
    counts = YEAR + after
    with depot_of(depot_rows(_months(counts)), as_of="2025-12-31") as depot:
        found = depot.charts.level()
    assert found is not None
    assert (found.verdict, found.since, found.month) == (verdict, since, date(2025, len(after), 1))
    if since:
        # By hand: the jobs before and since, a hundred a month.
        assert found.share == pytest.approx(sum(after) / (100 * len(after)))
        assert found.before == pytest.approx(sum(YEAR) / 1200)
        assert found.before_from == date(2024, 1, 1)


def test_a_month_that_is_not_final_is_not_looked_at() -> None:
    counts = (*YEAR, 3, 4, 2)
    with depot_of(depot_rows(_months(counts)), as_of="2025-03-25") as depot:
        found = depot.charts.level()
        assert found is not None
        assert (found.month, found.months) == (date(2025, 1, 1), 13)
        earlier = depot.charts.level(month="2024-06")
    assert earlier is not None
    assert (earlier.month, earlier.months, earlier.since) == (date(2024, 6, 1), 6, None)


def test_of_a_change_of_long_ago_the_level_since_is_told() -> None:
    counts = (22, 21, 23, 22, 21, 22, *[5] * 16)
    with depot_of(depot_rows(_months(counts)), as_of="2025-12-31") as depot:
        found = depot.charts.level()
    assert found is not None
    assert (found.verdict, found.since, found.level_from) == ("no clear change", None, date(2024, 7, 1))
    assert found.share == pytest.approx(0.05)


def test_few_jobs_cannot_tell() -> None:
    with depot_of(depot_rows(_months((1, 0, 1, 0, 1, 0, 1, 0), size=10)), as_of="2025-12-31") as depot:
        found = depot.charts.level()
        assert found is not None
        figures = depot.charts.month_figures().table
    assert (found.verdict, found.size) == ("cannot be told", 80)
    # The table of the month says the same, and not that nothing changed.
    assert figures["verdict"][0] == "cannot be told"


def test_what_is_not_there_is_said() -> None:
    with depot_of(depot_rows(_months((1, 0))), as_of="2024-01-20") as depot:
        assert depot.charts.level() is None
        with pytest.raises(RequestError, match="there is no measure 'speed'"):
            depot.charts.level("speed")
        with pytest.raises(RequestError, match="level"):
            depot.charts.level(level=2.0)
