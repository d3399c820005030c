"""A group that is the only one: there is nothing to compare it with, however much work it did."""

from datetime import datetime, timedelta

import pytest

from rqa.answers.compare.comparison import ONLY
from rqa.plots import plot
from tests.depots import depot_of


@pytest.mark.parametrize("unnamed", [0, 40])
def test_the_only_group_has_nothing_to_compare_with(unnamed: int) -> None:
    """Work that names nobody may be its own, and makes no other group."""
    day = datetime(2025, 1, 1)
    jobs = [
        {"job_id": f"J{n}", "unit_id": f"U{n // 2}", "opened_at": day + timedelta(days=n % 2 * 20, hours=n),
         "closed_at": day + timedelta(days=n % 2 * 20, hours=n + 2), "model": "M", "procedure": "P", "site": "S",
         **({} if n < unnamed else {"technician": "T"})}
        for n in range(100)
    ]
    with depot_of({"jobs": jobs}, as_of="2025-09-01") as depot:
        r = depot.compare("technician", outcome="comeback")
    assert r.table["technician"].to_list() == ["T"]
    assert (r.table["verdict"].to_list(), r.table["p_adjusted"].to_list(), r.stated) == ([ONLY], [None], ())
    assert any("as only one technician is left to compare" in note for note in r.notes)
    assert "chance" not in plot(r).to_dict()["description"]
