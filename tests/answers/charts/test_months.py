"""Control charts and the month against the months before, on depots with a planted month."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from rqa.answers.core.scope_notes import scope_notes
from rqa.measures.run import counts
from tests.depots import depot_of


def depot_rows(months: dict[str, tuple[int, int]]) -> dict[str, list[dict[str, Any]]]:
    """For each month "2026-01": (closed repairs, come-backs within a week)."""
    jobs: list[dict[str, Any]] = []
    for month, (size, back) in months.items():
        closed = datetime.fromisoformat(f"{month}-10")
        for n in range(size):
            unit = f"{month}/{n}"
            jobs.append({"job_id": unit, "unit_id": unit, "opened_at": closed, "closed_at": closed})
            if n < back:
                again = closed + timedelta(days=7)
                jobs.append({"job_id": f"{unit}/2", "unit_id": unit, "opened_at": again, "closed_at": again,
                             "disposition": "not_economic"})
    return {"jobs": jobs}


CHANCE = (5, 3, 7, 5, 2, 8, 6, 4, 5, 5, 5)
"""Come-backs of eleven months that spread as chance would have it: five a month, 50 in the first ten."""
STEADY = {f"2025-{m:02d}": (100, back) for m, back in enumerate(CHANCE, 1)}


def test_chart_finds_the_planted_month_and_keeps_empty_months() -> None:
    months = {**{m: v for m, v in STEADY.items() if m != "2025-04"}, "2025-09": (100, 25)}
    with depot_of(depot_rows(months), as_of="2025-12-31") as depot:
        table = depot.control_chart("comebacks").table
    assert table["period"].to_list() == [date(2025, m, 1) for m in range(1, 12)]
    assert dict(zip(table["period"], table["signal"], strict=True))[date(2025, 9, 1)] == "above the upper limit"
    assert [s for s in table["signal"] if s] == ["above the upper limit"]
    april = table.row(3, named=True)
    assert (april["size"], april["value"], april["lower"], april["signal"], april["mature"]) == (
        0,
        None,
        None,
        "",
        True,
    )
    # Centre by hand: 45 in nine months and 25 in one, of 1,000 jobs.
    assert table["centre"][0] == 0.07
    # Limits by hand: 0.07 ± 3 sqrt(0.07 · 0.93 / 100) = 0.07 ± 0.076544.
    assert table["upper"][0] == pytest.approx(0.146544, abs=1e-6)
    assert table["lower"][0] == 0.0


def test_months_not_mature_are_shown_and_not_judged() -> None:
    months = {**STEADY, "2025-11": (100, 60)}
    with depot_of(depot_rows(months), as_of="2025-12-20") as depot:
        chart = depot.control_chart("comebacks", window=30)
        last = chart.table.row(-1, named=True)
        assert (last["value"], last["size"], last["mature"], last["signal"], last["upper"]) == (
            0.6,
            100,
            False,
            "",
            None,
        )
        assert chart.table["centre"][0] == 0.05
        assert any("Not mature" in note and "2025-11" in note for note in chart.notes)
        found = depot.charts.month_against_before()
        assert found is not None
        assert found.month == date(2025, 10, 1)
        asked = depot.charts.month_against_before(month="2025-11")
        assert asked is not None
        assert not asked.mature


@pytest.mark.parametrize(
    ("last", "direction", "verdict", "luck"),
    [
        ((100, 5), "same", "no clear change", False),
        ((100, 7), "worse", "no clear change", False),
        ((100, 3), "better", "no clear change", False),
        ((100, 20), "worse", "worse", True),
        ((2000, 20), "better", "better", True),
    ],
)
def test_month_against_before(last: tuple[int, int], direction: str, verdict: str, luck: bool) -> None:
    with depot_of(depot_rows({**STEADY, "2025-11": last}), as_of="2026-01-15") as depot:
        found = depot.charts.month_against_before("comebacks", month="2025-11")
    assert found is not None
    assert (found.direction, found.verdict, found.more_than_luck) == (direction, verdict, luck)
    assert (found.count, found.size) == (last[1], last[0])
    assert (found.before_count, found.before_size, found.months_before) == (50, 1000, 10)
    assert (found.first_before, found.last_before) == (date(2025, 1, 1), date(2025, 10, 1))
    assert found.difference == pytest.approx(last[1] / last[0] - 0.05)
    assert found.difference_low is not None
    assert found.difference_high is not None
    assert found.difference_low <= found.difference <= found.difference_high


def test_good_is_up_for_clean_jobs() -> None:
    rows = depot_rows({f"2025-{m:02d}": (40, 0) for m in range(1, 5)})
    for i, j in enumerate(rows["jobs"]):
        failed = i % 2 and "2025-04" not in j["job_id"]
        made = {"job_id": j["job_id"], "step_seq": 1, "step": "s", "outcome": "fail" if failed else "pass"}
        rows.setdefault("steps", []).append(made)
    with depot_of(rows, as_of="2025-06-01") as depot:
        for measure in ("clean_jobs", "first_pass_yield"):
            found = depot.charts.month_against_before(measure)
            assert found is not None
            assert (found.month, found.verdict, found.more_than_luck) == (date(2025, 4, 1), "better", True)


def test_no_month_before_is_no_data() -> None:
    with depot_of(depot_rows({"2025-01": (50, 2)}), as_of="2025-06-01") as depot:
        found = depot.charts.month_against_before()
    assert found is not None
    assert (found.verdict, found.before_share, found.difference, found.more_than_luck) == ("no data", None, None, False)


def test_one_chart_a_group() -> None:
    rows = depot_rows(STEADY)
    for i, j in enumerate(rows["jobs"]):
        j["site"] = "Alder" if i % 2 else "Birch"
    with depot_of(rows, as_of="2026-01-31") as depot:
        table = depot.control_chart(by=("site",)).table
    assert table.columns[:2] == ["site", "period"]
    assert table["site"].unique(maintain_order=True).to_list() == ["Alder", "Birch"]
    assert table.height == 22


@pytest.mark.parametrize(
    ("months", "said"),
    [
        (("2031-02", "2031-02"), "February 2031: the store holds nothing of this month; its data is of "),
        (
            ("2031-02", "2031-03"),
            "February 2031 to March 2031: the store holds nothing of these months; its data is of ",
        ),
    ],
)
def test_months_that_the_store_does_not_hold_are_named(months: tuple[str, str], said: str) -> None:
    with depot_of(depot_rows(STEADY), as_of="2025-12-20") as depot:
        assert any(str(note).startswith(said) for note in depot.comebacks(months=months).notes)


def test_values_of_a_filter_are_looked_up_once_however_many_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[str] = []

    def counted(store: Any, measure: str, **asked: Any) -> Any:
        looked.append(measure)
        return counts(store, measure, **asked)

    monkeypatch.setattr("rqa.answers.core.scope_notes.counts", counted)
    with depot_of(depot_rows(STEADY), as_of="2025-12-20") as depot:
        notes = scope_notes(
            depot._snapshot, {"where": {"model": tuple(f"none {n}" for n in range(9)), "class": "none"}}
        )
    assert [note.split("'")[1] for note in notes] == [f"none {n}" for n in range(9)]
    assert looked == ["values_jobs"]
