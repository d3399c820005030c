"""A chart of gaps of thousands of come-backs is drawn by its last ones, and says so."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

import rqa
from tests.depots import depot_of


def _rows(units: int) -> dict[str, list[dict[str, Any]]]:
    """Each unit comes back once, a week after it was closed."""
    jobs = []
    for n in range(units):
        closed = datetime(2024, 1, 1, 9) + timedelta(hours=3 * n)
        again = closed + timedelta(days=7)
        jobs += [
            {"job_id": f"A{n}", "unit_id": f"U{n}", "opened_at": closed, "closed_at": closed},
            {"job_id": f"B{n}", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
             "disposition": "not_economic"},
        ]
    return {"jobs": jobs}


@pytest.mark.parametrize("measure", ["jobs_between_comebacks", "days_between_comebacks"])
def test_the_last_thousand_are_drawn(measure: str) -> None:
    with depot_of(_rows(2_100), as_of=date(2024, 12, 31).isoformat()) as depot:
        chart = depot.control_chart(measure)
        assert chart.table.height > 2_000
        drawn = rqa.plot(chart).to_dict()
        said = " ".join(drawn["title"]["subtitle"])
        assert f"drawn are the last 1,000 come-backs; {chart.table.height - 1_000:,} earlier ones not" in said
