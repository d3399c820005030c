"""The units that hold half of the returns, against a plain count."""

from datetime import datetime, timedelta

import pytest

from rqa.errors import RequestError
from tests.depots import depot_of

AT = datetime(2026, 1, 5, 9)
BACK = {"U0": 4, "U1": 2, "U2": 1, "U3": 1, "U4": 0, "U5": 0}


def test_the_fewest_units_that_hold_half_of_the_returns() -> None:
    jobs = [
        {"job_id": f"{unit}-{n}", "unit_id": unit, "opened_at": AT + timedelta(days=9 * n),
         "closed_at": AT + timedelta(days=9 * n + 1)}
        for unit, times in BACK.items() for n in range(times + 1)
    ]
    with depot_of({"jobs": jobs}) as depot:
        half, most, every = (depot.returns.units_holding(part) for part in (0.5, 0.6, 1.0))
        listed = most.jobs(unit_id="U1").table.height
        with pytest.raises(RequestError, match="units_holding: part is a share"):
            depot.returns.units_holding(0.0)
    assert half.table.select("unit_id", "returns", "so_far", "share").rows() == [("U0", 4, 4, 0.5)]
    assert most.table["unit_id"].to_list() == ["U0", "U1"]
    assert every.table["returns"].to_list() == sorted((n for n in BACK.values() if n), reverse=True)
    assert listed == 2
    assert any("1 unit of 6 holds 50" in note for note in half.notes)
