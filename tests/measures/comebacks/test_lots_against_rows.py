"""Lots against a slow row loop, on depots full of ties and overlaps; and the answer made of the counts by hand."""

from collections import defaultdict
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given

from rqa.errors import RequestError
from rqa.measures.run import counts
from tests.depots import depot_of
from tests.measures.comebacks.by_hand_returns import groups_with_parts, index_jobs
from tests.measures.comebacks.test_returns_against_rows import FEW, as_ofs, deep_tables, maybe


def lots_by_hand(tables: dict[str, Any], as_of: date, window: int, **kept: Any) -> dict[Any, tuple[int, int]]:
    """Per part and lot: matured jobs in which it was fitted, and those back within the window."""
    found: dict[Any, list[int]] = defaultdict(lambda: [0, 0])
    for job, gap, _, _ in index_jobs(tables, as_of):
        if any(job[name] != value for name, value in kept.items()):
            continue
        for part, lot in groups_with_parts(job, ("part_no", "lot"), tables):
            if lot == "unknown":
                continue
            matured = job["closed_on"] + timedelta(days=window) <= as_of
            found[(part, lot)][0] += matured
            found[(part, lot)][1] += matured and gap is not None and gap <= window
    return {key: (a, b) for key, (a, b) in found.items()}


@FEW
@given(data=deep_tables(), as_of=as_ofs, window=maybe((0, 5, 30)), site=maybe((None, "Alder")))
def test_lots(data: dict[str, Any], as_of: date, window: int, site: str | None) -> None:
    values = {"as_of": as_of, "disposition": "repaired", "window": window}
    with depot_of(data) as depot:
        kept = {"site": (site,)} if site else {}
        table = counts(depot._store, "comebacks_by_lot", by=("part_no", "lot"), where=kept, values=values)
    found = {(row[0], row[1]): row[2:] for row in table.iter_rows()}
    assert found == lots_by_hand(data, as_of, window, **({"site": site} if site else {}))


AT = datetime(2026, 1, 5, 9)
RETURNED = {"A": {0, 1, 2, 3}, "B": {0}, "C": set[int]()}
"""Of ten jobs a lot, those back on the fifth day."""


@pytest.fixture(scope="module")
def lots_depot() -> Any:
    jobs, parts = [], []
    for place, (lot, back) in enumerate(RETURNED.items()):
        for n in range(10):
            job, unit = f"{lot}{n}", f"U{lot}{n}"
            opened = AT + timedelta(days=place, hours=n)
            jobs.append({"job_id": job, "unit_id": unit, "opened_at": opened, "closed_at": opened})
            parts.append({"job_id": job, "line": 1, "part_no": "P", "lot": lot})
            if n in back:
                again = opened + timedelta(days=5)
                jobs.append({"job_id": f"{job}r", "unit_id": unit, "opened_at": again, "closed_at": again})
    with depot_of({"jobs": jobs, "parts": parts}, date(2026, 6, 1)) as depot:
        yield depot


def test_each_lot_stands_beside_the_others_of_its_part(lots_depot: Any) -> None:
    """Fisher's test of 4 of 10 against 1 of 20, two-sided, summed by hand: tables of the margins 10, 20 and 5 of 30."""
    table = lots_depot.returns.lots(min_jobs=5).table
    columns = ("lot", "matured", "returned", "other_matured", "other_returned")
    assert table.select(columns).rows() == [("A", 10, 4, 20, 1), ("B", 10, 1, 20, 4), ("C", 10, 0, 20, 5)]
    from math import comb

    chances = [comb(10, k) * comb(20, 5 - k) / comb(30, 5) for k in range(6)]
    by_hand = sum(chance for chance in chances if chance <= chances[4] * (1 + 1e-9))
    assert table["p_value"][0] == pytest.approx(by_hand, rel=1e-5)
    assert table["rate"].to_list() == [0.4, 0.1, 0.0]


def test_lots_with_few_jobs_are_left_out_and_said(lots_depot: Any) -> None:
    found = lots_depot.returns.lots()
    assert found.table.is_empty()
    only = lots_depot.returns.lots(min_jobs=5, where={"lot": "B"})
    assert only.table.select("lot", "other_matured").rows() == [("B", 20)]
    with pytest.raises(RequestError, match="min_jobs is a whole number of jobs, 1 or more: 0"):
        lots_depot.returns.lots(min_jobs=0)


def test_the_lots_shown_are_judged_among_all_that_are_compared(lots_depot: Any) -> None:
    judged = ("lot", "p_value", "p_adjusted")
    every = {row[0]: row[1:] for row in lots_depot.returns.lots(min_jobs=5).table.select(judged).rows()}
    for lot in "ABC":
        only = lots_depot.returns.lots(min_jobs=5, where={"lot": lot}).table
        assert only.select(judged).rows() == [(lot, *every[lot])]
    assert every["A"][1] > every["A"][0]


def test_jobs_of_all_lots_are_those_of_the_lots_shown() -> None:
    """Lot A of part P is shown, lots A of Q and R are not: each of these has too few jobs."""
    closed = AT + timedelta(days=2)
    jobs = [
        {"job_id": f"J{n:02}", "unit_id": f"U{n:02}", "opened_at": AT + timedelta(hours=n), "closed_at": closed}
        for n in range(24)
    ]
    fitted = [("P", "A"), ("P", "B")] * 10 + [("Q", "A"), ("Q", "B"), ("R", "A"), ("R", None)]
    parts = [
        {"job_id": f"J{n:02}", "line": 1, "part_no": part, "lot": lot} for n, (part, lot) in enumerate(fitted)
    ] + [{"job_id": "J00", "line": 2, "part_no": "P", "lot": "B"}]
    with depot_of({"jobs": jobs, "parts": parts}, date(2026, 6, 1)) as depot:
        found = depot.returns.lots(min_jobs=5)
        assert found.table.select("part_no", "lot", "matured").rows() == [("P", "A", 10), ("P", "B", 11)]
        assert found.jobs().table["job_id"].to_list() == [f"J{n:02}" for n in range(20)]
        for row in found.table.iter_rows(named=True):
            own = found.jobs(part_no=row["part_no"], lot=row["lot"]).table
            assert own["job_id"].n_unique() == own.height == row["matured"]
        assert found.jobs(lot="A").table.height == 10
        assert depot.returns.lots(min_jobs=50).jobs().table.is_empty()


def test_asking_for_one_part_does_not_make_its_lots_surer() -> None:
    """Six lots of two parts are compared: p_adjusted of those of one part allows for all six."""
    jobs, parts = [], []
    for part in ("P", "Q"):
        for place, (lot, back) in enumerate(RETURNED.items()):
            for n in range(10):
                job = f"{part}{lot}{n}"
                opened = AT + timedelta(days=place, hours=n)
                jobs.append({"job_id": job, "unit_id": f"U{job}", "opened_at": opened, "closed_at": opened})
                parts.append({"job_id": job, "line": 1, "part_no": part, "lot": lot})
                if n in back and part == "P":
                    again = opened + timedelta(days=5)
                    jobs.append({"job_id": f"{job}r", "unit_id": f"U{job}", "opened_at": again, "closed_at": again})
    with depot_of({"jobs": jobs, "parts": parts}, date(2026, 6, 1)) as depot:
        every = depot.returns.lots(min_jobs=5)
        one = depot.returns.lots(min_jobs=5, where={"part_no": "P"})
    assert one.table.equals(every.table.filter(pl.col("part_no") == "P"))
    assert one.settings["compared"] == every.settings["compared"] == 6
    assert any("all 6 lots compared" in note for note in one.notes)
