"""Since when a measure is at another level, on depots with a planted change."""

from datetime import date

import pytest

from rqa.errors import RequestError
from rqa.plots import plot
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


def test_a_chart_of_the_whole_measure_draws_its_change_and_its_goal() -> None:
    """As `level` tells it, and the goal in force; a chart of groups, weeks or stages has no such mark."""
    counts = (*YEAR, 3, 4, 2, 4)
    goals = [{"measure": "comebacks_30", "from_month": day, "value": value}
             for day, value in ((date(2024, 1, 1), 0.5), (date(2025, 2, 1), 0.09), (date(2026, 1, 1), 0.01))]
    with depot_of({**depot_rows(_months(counts)), "targets": goals}, as_of="2025-12-31") as depot:
        found, chart = depot.charts.level(), depot.control_chart()
        assert found is not None
        assert chart.change is not None
        assert (chart.change.since, chart.change.until) == (date(2025, 1, 1), date(2025, 4, 1))
        assert (chart.change.before, chart.change.after) == (found.before, found.share)
        assert chart.goal == 0.09
        drawn = plot(chart).to_dict()
        assert "The level changed in January 2025" in drawn["description"]
        said = [text.replace("\u00a0", " ") for text in drawn["title"]["subtitle"]]
        assert "dashed level line = goal, 9.0 %" in said
        lines = [v for layer in drawn["layer"] for v in layer.get("data", {}).get("values", ())]
        assert {"goal": 0.09} in lines
        assert sum("value" in v for v in lines) == 0, "what the chart draws is held once"
        staged = depot.control_chart(stages=("2025-01",))
        assert (staged.change, staged.goal) == (None, 0.09)
        for other in (depot.control_chart(by=("model",)), depot.control_chart(period="week")):
            assert (other.change, other.goal) == (None, None)
        assert depot.control_chart(window=90).goal is None
