"""Two periods compared: against a row loop, and what is said of it."""

from datetime import date
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

import rqa
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.depots import depot_of
from tests.measures import by_hand
from tests.measures.small_depots import tables
from tests.measures.test_against_rows import SLOW
from tests.sample_store import SAMPLE, fresh_store

GROUPS = ("site", "model", "procedure", "technician", "billing")
MONTHS = [f"2025-{m:02}" for m in range(1, 7)]


@pytest.fixture(scope="module")
def depot() -> Any:
    fresh_store()
    with rqa.open(SAMPLE) as opened:
        yield opened


def of_period(rows: dict[Any, Any], months: set[date]) -> dict[Any, tuple[int, int]]:
    """Cases and events by group over some months; the month is each key's first part."""
    made: dict[Any, tuple[int, int]] = {}
    for (month, *key), (_, matured, returned) in rows.items():
        if month in months:
            cases, events = made.get(tuple(key), (0, 0))
            made[tuple(key)] = (cases + matured, events + returned)
    return {key: counts for key, counts in made.items() if counts[0]}


def parts_of(one: dict[Any, tuple[int, int]], two: dict[Any, tuple[int, int]]) -> tuple[float, float]:
    """Kitagawa's rate and mix, group by group."""
    n1, n2 = (sum(n for n, _ in side.values()) for side in (one, two))
    rate = mix = 0.0
    for key in {*one, *two}:
        (c1, x1), (c2, x2) = one.get(key, (0, 0)), two.get(key, (0, 0))
        r1, r2 = x1 / c1 if c1 else x2 / c2, x2 / c2 if c2 else x1 / c1
        rate += (c1 / n1 + c2 / n2) / 2 * (r2 - r1)
        mix += (r1 + r2) / 2 * (c2 / n2 - c1 / n1)
    return rate, mix


@SLOW
@given(data=tables(), by=st.lists(st.sampled_from(GROUPS), unique=True, max_size=2).map(tuple),
       split=st.integers(0, 4), window=st.sampled_from((0, 5, 30)))
def test_counts_and_parts_are_those_of_the_rows(
    data: dict[str, Any], by: tuple[str, ...], split: int, window: int
) -> None:
    closed = sorted({j["closed_on"].replace(day=1) for j in data["jobs"] if j["closed_on"]})
    if len(closed) < 2:
        return
    split = min(split, len(closed) - 2)
    before, after = set(closed[: split + 1]), set(closed[split + 1 :])
    with depot_of(data, None) as opened:
        rows = by_hand.comebacks(data, ("month", *by), window=window, as_of=opened.as_of.date(),
                                 index_disposition="repaired")
        r = opened.between((min(before), max(before)), (min(after), max(after)), by=by, window=window)
    one, two = of_period(rows, before), of_period(rows, after)
    found = {tuple(row[b] for b in by): row for row in r.table.iter_rows(named=True)}
    for side, name in ((one, "before"), (two, "after")):
        seen = {key: (row[f"cases_{name}"], row[f"events_{name}"]) for key, row in found.items()}
        assert {key: counts for key, counts in seen.items() if counts[0]} == side
    sizes = dict(r.parts.select("part", "size").rows())
    if one and two and sizes["difference"] is not None:
        rate, mix = parts_of(one, two)
        assert sizes["rate"] == pytest.approx(rate, abs=2e-6)
        assert sizes["mix"] == pytest.approx(mix, abs=2e-6)
    elif not (one and two):
        assert set(sizes.values()) == {None}


def test_by_class_the_parts_add_up_to_the_whole_and_there_is_no_mix(depot: Depot) -> None:
    r = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"), by="class")
    whole = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"), by=())
    assert r.table["mix_part"].abs().sum() == 0.0
    assert r.table["part"].sum() == pytest.approx(whole.table["change"][0], abs=1e-5)
    assert dict(r.parts.select("part", "size").rows())["difference"] == whole.table["change"][0]
    both = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"), by=("model", "class"))
    assert both.table["part"].sum() == pytest.approx(whole.table["change"][0], abs=2e-5)


def test_checks_are_compared_with_limits_that_allow_for_jobs(depot: Depot) -> None:
    asked: dict[str, Any] = {"before": ("2025-07", "2025-09"), "after": ("2026-01", "2026-03"), "by": "procedure"}
    r = depot.between(**asked, measure="first_pass_yield")
    for name, months in (("before", ("2025-07", "2025-09")), ("after", ("2026-01", "2026-03"))):
        alone = depot.first_pass_yield(by="procedure", months=months).table
        seen = r.table.sort("procedure").select(f"cases_{name}", f"events_{name}", f"rate_{name}").rows()
        assert seen == alone.sort("procedure").select("exposures", "passed", "yield").rows()
    assert r.jobs("events_before", procedure="radio").table.height == dict(
        r.table.select("procedure", "events_before").rows()
    )["radio"]


def test_the_jobs_of_either_period_are_listed(depot: Depot) -> None:
    r = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"), by="model")
    row = r.table.row(by_predicate=pl.col("model") == "Marl-8", named=True)
    for count in ("cases_before", "events_before", "cases_after", "events_after"):
        assert r.jobs(count, model="Marl-8").table.height == row[count]
    assert r.returned(model="Marl-8").table.height == row["events_after"]


def test_what_is_said(depot: Depot) -> None:
    lower = depot.between(("2025-07", "2025-09"), ("2026-01", "2026-03"))
    assert any("8.2\u00a0% of 440 matured jobs" in note and note.endswith("lower.") for note in lower.notes)
    same = depot.between(("2025-10", "2025-12"), ("2026-04", "2026-05"))
    assert same.parts is not None
    assert same.parts["verdict"].to_list() == ["no difference shown"] * 3


@pytest.mark.parametrize(("how", "said"), [
    ({"before": ("2026-01", "2026-03"), "after": ("2026-03", "2026-05")}, "no month is in both"),
    ({"before": ("2026-02"), "after": ("2025-05")}, "no month is in both"),
    ({"before": None}, "take months each"), ({"measure": "yield"}, "measure is one of"),
    ({"measure": "first_pass_yield", "by": "technician"}, "there is no grouping 'technician'"),
    ({"interaction": "half"}, "interaction is one of shared, apart"),
])
def test_what_cannot_be_compared(depot: Depot, how: dict[str, Any], said: str) -> None:
    with pytest.raises(RequestError, match=f"between: .*{said}"):
        depot.between(**{"before": "2025-10", "after": "2026-01", **how})
