"""Come-backs watched job by job, weeks to detect, and margins within limits, against the pure functions and by hand."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from rqa import spc, stats
from rqa.depot import Depot
from tests.depots import depot_of

BAD_FROM = date(2025, 10, 1)


def rows() -> dict[str, list[dict[str, Any]]]:
    """1,200 repairs from January to December 2025; from October on one in four comes back instead of one in twenty."""
    rng = np.random.default_rng(5)
    jobs: list[dict[str, Any]] = []
    tests = []
    for n in range(1200):
        closed = datetime(2025, 1, 1, 8) + timedelta(hours=7.2 * n)
        jobs.append({"job_id": f"J{n:04}", "unit_id": f"U{n}", "opened_at": closed - timedelta(hours=5),
                     "closed_at": closed, "model": ("Marl-8", "Quern")[n % 2], "billing": "paid"})
        if rng.random() < (0.25 if closed.date() >= BAD_FROM else 0.05):
            again = closed + timedelta(days=6)
            jobs.append({"job_id": f"J{n:04}/2", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                         "disposition": "not_economic"})
        tests.append({"job_id": f"J{n:04}", "test": "load", "run_at": closed, "value": float(rng.normal(4, 0.1)),
                      "unit": "V", "lower_limit": 3.6, "upper_limit": 4.4})
    return {"jobs": jobs, "diagnostics": tests}


@pytest.fixture(scope="module")
def made() -> dict[str, list[dict[str, Any]]]:
    return rows()


@pytest.fixture(scope="module")
def depot(made: dict[str, list[dict[str, Any]]]) -> Iterator[Depot]:
    with depot_of(made, as_of="2026-03-01") as opened:
        yield opened


def watched(made: Any) -> tuple[list[date], list[int]]:
    back = {j["unit_id"] for j in made["jobs"] if j["job_id"].endswith("/2")}
    own = [j for j in made["jobs"] if not j["job_id"].endswith("/2")]
    return [j["closed_at"].date() for j in own], [int(j["unit_id"] in back) for j in own]


def test_the_bernoulli_sum_is_that_of_the_jobs_one_by_one(depot: Depot, made: Any) -> None:
    days, back = watched(made)
    r = depot.charts.cusum(adjusted=False, baseline=("2025-01", "2025-06"))
    judged = [i for i, d in enumerate(days) if d > date(2025, 6, 30)]
    p0 = float(np.mean([b for d, b in zip(days, back, strict=True) if d <= date(2025, 6, 30)]))
    p1 = 2 * p0 / (1 + p0)
    limit = r.table["limit"][0]
    chart = spc.bernoulli_cusum([back[i] for i in judged], p0=p0, p1=p1, h=limit)
    daily: dict[date, float] = {}
    for i, high in zip(judged, chart.high, strict=True):
        daily[days[i]] = max(daily.get(days[i], 0.0), float(high))
    assert r.table["period"].to_list() == sorted(daily)
    assert r.table["value"].to_numpy() == pytest.approx([daily[d] for d in sorted(daily)], abs=6e-7)
    loud = r.table.filter(pl.col("signal") != "").row(0, named=True)
    first = next(k for k, high in enumerate(chart.high) if high >= limit - 1e-6)
    since = max(k for k in range(first) if chart.high[k] == 0) + 1
    assert (loud["period"], loud["signal"][-10:]) == (days[judged[first]], days[judged[since]].isoformat())
    assert r.table["returned"].sum() == sum(back[i] for i in judged)
    # The limit keeps its promise: 60 months of this volume (some 100 jobs a month) between false alarms.
    quiet = spc.run_length(spc.BernoulliDesign(p0=p0, p1=p1, h=limit)).mean
    months = len(judged) / ((days[judged[-1]] - days[judged[0]]).days + 1) * 365.25 / 12
    assert quiet == pytest.approx(60 * months, rel=0.05)


@pytest.mark.parametrize("adjusted", [True, False])
def test_the_planted_change_is_found_and_dated(depot: Depot, adjusted: bool) -> None:
    """Fivefold come-backs from October on: called out within three weeks, and said to have begun about then.

    A sum that was not at 0 when the change began says that it grew since it last was. Each come-back of steady work
    takes some 14 good jobs, four days, to be forgotten, so three weeks before is as far as it should reach.
    """
    loud = depot.charts.cusum(adjusted=adjusted, baseline=("2025-01", "2025-06")).table.filter(pl.col("signal") != "")
    first = loud.row(0, named=True)
    assert BAD_FROM < first["period"] < BAD_FROM + timedelta(days=21)
    assert first["signal"].startswith("more come-backs, growing since 2025-")
    began = date.fromisoformat(first["signal"][-10:])
    assert abs((began - BAD_FROM).days) <= 21


def test_expected_chances_go_by_the_mix(depot: Depot, made: Any) -> None:
    """Two mixes in the baseline: the expected come-backs add up to jobs times the shrunk shares."""
    days, back = watched(made)
    before = [i for i, d in enumerate(days) if d <= date(2025, 6, 30)]
    trials = [sum(i % 2 == k for i in before) for k in (0, 1)]
    hits = [sum(back[i] for i in before if i % 2 == k) for k in (0, 1)]
    share = stats.beta_binomial_shrinkage(successes=hits, trials=trials, method="plug-in").estimate
    table = depot.charts.cusum(by="model", baseline=("2025-01", "2025-06")).table
    for k, model in enumerate(("Marl-8", "Quern")):
        own = table.filter(pl.col("model") == model)
        # Each day's sum is rounded to six digits.
        assert own["expected"].sum() == pytest.approx(own["size"].sum() * share[k], abs=1e-6 * own.height)


def test_weeks_to_detect_are_the_pure_answers_at_this_volume(depot: Depot, made: Any) -> None:
    days, back = watched(made)
    r = depot.charts.time_to_detect("comebacks", change=2.0).table
    weekly, before = len(days) / (12 * 365.25 / 12 / 7), float(np.mean(back))
    assert r["size"].to_list() == pytest.approx([round(weekly, 1)] * 3)
    assert r["before"].to_list() == pytest.approx([before] * 3, abs=6e-7)
    assert r["after"].to_list() == pytest.approx([2 * before] * 3, abs=6e-7)
    few = spc.ShewhartDesign(rules=spc.MONTHLY)
    month = spc.periods_to_detect(few, before=before, after=2 * before, size=len(days) // 12)
    assert r["mean"][0] == pytest.approx(month.mean * 365.25 / 12 / 7, abs=0.051)
    assert r["mean_time_between_false_alarms"][2] == pytest.approx(r["mean_time_between_false_alarms"][0], rel=0.05)
    assert any("add 30 days" in note for note in depot.charts.time_to_detect().notes)


def test_yields_change_by_what_fails(depot: Depot) -> None:
    r = depot.charts.time_to_detect("first_run_pass", change=2.0).table
    # Nothing failed, so no chart has anything to go by.
    assert r["chart"].to_list() == ["none"]
    assert r["mean"].null_count() == 1


def test_capability_is_the_pure_answer_of_weekly_subgroups(depot: Depot, made: Any) -> None:
    weeks: dict[date, list[float]] = {}
    for t in made["diagnostics"]:
        day = t["run_at"].date()
        weeks.setdefault(day - timedelta(days=day.weekday()), []).append(t["value"])
    own = stats.capability([weeks[w] for w in sorted(weeks)], lower_limit=3.6, upper_limit=4.4)
    row = depot.charts.capability().table.row(0, named=True)
    assert (row["test"], row["unit"], row["readings"], row["refused"]) == ("load", "V", 1200, "")
    assert (row["cpk"], row["ppk"], row["low"], row["high"]) == pytest.approx(
        (own.cpk.estimate, own.ppk.estimate, own.ppk.low, own.ppk.high), abs=6e-7
    )
    assert own.ppk.low < 4 / 3 < own.ppk.high  # 0.4 / (3 x 0.1)


def test_other_limits_may_be_asked_for(depot: Depot) -> None:
    one = depot.charts.capability(lower_limit=3.7).table.row(0, named=True)
    assert (one["lower_limit"], one["upper_limit"]) == (3.7, 4.4)
    assert one["ppk"] == pytest.approx(1.0, abs=0.05)


def test_readings_without_a_limit_say_so() -> None:
    closed = datetime(2025, 1, 10)
    jobs = [{"job_id": "J1", "unit_id": "U1", "opened_at": closed, "closed_at": closed}]
    steps = [{"job_id": "J1", "step": "close", "value": 2.5, "ended_at": closed}]
    with depot_of({"jobs": jobs, "steps": steps}) as depot:
        row = depot.charts.capability("step_values").table.row(0, named=True)
    assert (row["readings"], row["mean"], row["ppk"]) == (1, 2.5, None)
    assert "No limit is known" in row["refused"]
