"""Come-backs of the next weeks: unit by unit in a plain loop, the past days too; chances against other libraries."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from rqa import stats
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots.dispatch import plot
from tests.depots import depot_of

BEGIN, AS_OF = date(2024, 1, 1), date(2025, 6, 20)


def made_rows() -> dict[str, list[dict[str, Any]]]:
    rng = np.random.default_rng(3)
    jobs, retired = [], []
    for n in range(700):
        closed = datetime(2024, 1, 1, 9) + timedelta(days=float(rng.uniform(0, 530)))
        model = ("Marl-8", "Quern")[n % 2]
        jobs.append({"job_id": f"J{n:03}", "unit_id": f"U{n}", "opened_at": closed - timedelta(hours=2),
                     "closed_at": closed, "model": model, "site": ("Alder", "Birch")[n % 3 == 0]})
        lag = float(rng.exponential(90))
        if rng.random() < (0.5 if model == "Quern" else 0.25) and (closed + timedelta(days=lag)).date() <= AS_OF:
            again = closed + timedelta(days=lag)
            jobs.append({"job_id": f"J{n:03}/2", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                         "disposition": "not_economic"})
        elif n % 20 == 0:
            retired.append({"unit_id": f"U{n}", "retired_on": min(closed.date() + timedelta(days=40), AS_OF)})
    return {"jobs": jobs, "retirements": retired}


@pytest.fixture(scope="module")
def rows() -> dict[str, list[dict[str, Any]]]:
    return made_rows()


@pytest.fixture(scope="module")
def depot(rows: dict[str, list[dict[str, Any]]]) -> Iterator[Depot]:
    with depot_of(rows, as_of=AS_OF.isoformat()) as opened:
        yield opened


def by_loop(rows: Any, seen_on: date, span: int) -> dict[str, tuple[int, float, int]]:
    """By model: units out on a day, how many of them are expected back within so many days, how many came."""
    back = {j["unit_id"]: j["opened_at"].date() for j in rows["jobs"] if j["job_id"].endswith("/2")}
    gone = {r["unit_id"]: r["retired_on"] for r in rows["retirements"]}
    at_risk: dict[int, int] = {}
    returned: dict[tuple[str, int], int] = {}
    exposed: list[tuple[str, int]] = []
    out: list[tuple[str, int]] = []
    came = {"Marl-8": 0, "Quern": 0}
    for j in (j for j in rows["jobs"] if not j["job_id"].endswith("/2")):
        closed, unit, model = j["closed_at"].date(), j["unit_id"], j["model"]
        if closed > seen_on:
            continue
        ends = [d for d in (back.get(unit), gone.get(unit)) if d is not None and d <= seen_on]
        last = min([*ends, seen_on])
        for age in range((last - closed).days + 1):
            if (seen_on - closed).days - age < 365:
                at_risk[age] = at_risk.get(age, 0) + 1
                exposed.append((model, age))
        if unit in back and back[unit] <= seen_on:
            age = (back[unit] - closed).days
            if (seen_on - back[unit]).days < 365:
                returned[model, age] = returned.get((model, age), 0) + 1
        elif not ends:
            out.append((model, (seen_on - closed).days))
            came[model] += unit in back and back[unit] <= seen_on + timedelta(days=span)
    hazard = {age: sum(returned.get((m, age), 0) for m in came) / n for age, n in at_risk.items()}
    told = {}
    for model in came:
        own = sum(n for (m, _), n in returned.items() if m == model)
        brought = sum(hazard[age] for m, age in exposed if m == model)
        expected = 0.0
        for m, age in out:
            if m == model:
                stays = np.prod([1 - hazard.get(a, 0.0) for a in range(age + 1, age + span + 1)])
                expected += (own + 10) / (brought + 10) * (1 - stays)
        told[model] = (sum(m == model for m, _ in out), expected, came[model])
    return told


def test_the_forecast_is_that_of_a_plain_loop(depot: Depot, rows: Any) -> None:
    answer = depot.returns.forecast((4, 13), by="model")
    for row in answer.table.iter_rows(named=True):
        out, expected, _ = by_loop(rows, AS_OF, 7 * row["weeks"])[row["model"]]
        assert (row["out"], row["until"]) == (out, AS_OF + timedelta(weeks=row["weeks"]))
        assert row["expected"] == pytest.approx(expected, abs=1e-6)
        assert row["low"] < row["expected"] < row["high"]
        assert answer.jobs(model=row["model"]).table.height == out


def test_the_past_forecasts_are_those_of_the_past_days(depot: Depot, rows: Any) -> None:
    tried = depot.returns.forecast((4, 8), by="model").backtest
    assert tried is not None
    for row in tried[:: max(tried.height // 6, 1)].iter_rows(named=True):
        out, expected, came = by_loop(rows, row["seen_on"], 7 * row["weeks"])[row["model"]]
        assert (row["out"], row["came"]) == (out, came)
        assert row["expected"] == pytest.approx(expected, abs=1e-6)
        assert row["held"] == (row["low"] <= came <= row["high"])
    day = tried["seen_on"].max()
    with depot_of(rows, as_of=day.isoformat()) as then:  # type: ignore[union-attr]
        same = then.returns.forecast((4, 8), by="model").table.select("model", "weeks", "out", "expected")
    past = tried.filter((tried["seen_on"] == day) & (tried["weeks"] == 4)).select("model", "weeks", "out", "expected")
    assert same.filter(same["weeks"] == 4).equals(past)


def test_expected_and_variance_are_those_of_a_count_of_unlike_chances() -> None:
    r = stats.returns_ahead(at_risk=[50, 40, 30, 20], returned=[0, 4, 6, 1], out=[[3, 2, 1, 0], [0, 0, 0, 5]], ahead=2)
    h = [0.0, 0.1, 0.2, 0.05, 0.0, 0.0]
    chance = [1 - (1 - h[a + 1]) * (1 - h[a + 2]) for a in range(4)]
    assert r.chance.tolist() == pytest.approx(chance)
    assert r.expected.tolist() == pytest.approx([3 * chance[0] + 2 * chance[1] + chance[2], 0.0])
    assert r.by_chance[0] == pytest.approx(sum(n * p * (1 - p) for n, p in zip((3, 2, 1), chance, strict=False)))


def test_the_variance_of_the_hazard_is_that_of_hazards_drawn_anew() -> None:
    rng = np.random.default_rng(2)
    risk, back = np.array([400, 300, 250, 200]), np.array([8, 30, 20, 10])
    out = [[40.0, 30.0, 20.0, 10.0]]
    drawn = [
        stats.returns_ahead(at_risk=risk, returned=rng.binomial(risk, back / risk), out=out, ahead=3).expected[0]
        for _ in range(4000)
    ]
    # Of 4,000 draws a variance is known to about 2 %; the delta method adds its own error, small at these counts.
    assert stats.returns_ahead(at_risk=risk, returned=back, out=out, ahead=3).by_hazard[0] == pytest.approx(
        np.var(drawn), rel=0.1
    )


def test_limits_of_a_count_hold_it() -> None:
    """Counts drawn in other ways: Poisson about a gamma, plain Poisson, and a sum of unlike chances."""
    rng, n = np.random.default_rng(9), 100_000
    chances = np.array([0.9] * 4 + [0.5] * 8 + [0.1] * 24)
    of_unlike = (rng.random((n, len(chances))) < chances).sum(axis=1)
    drawn = {
        (10.0, 25.0): rng.poisson(rng.gamma(10 / 1.5, 1.5, n)), (10.0, 10.0): rng.poisson(10.0, n),
        (float(chances.sum()), float((chances * (1 - chances)).sum())): of_unlike,
    }
    for (mean, variance), count in drawn.items():
        low, high = (float(end[0]) for end in stats.count_interval(mean=mean, variance=variance))
        # Three standard errors of a share of 2.5 % among 100,000 draws; one more whole number would cut off too much.
        assert max((count < low).mean(), (count > high).mean()) <= 0.025 + 0.0015
        assert min((count <= low).mean(), (count >= high).mean()) >= 0.025 - 0.0015
    assert [end[0] for end in stats.count_interval(mean=0.0, variance=0.0)] == [0.0, 0.0]


@pytest.mark.parametrize("how", [
    {"weeks": ()}, {"weeks": (4, 4)}, {"weeks": (0,)}, {"weeks": (53,)}, {"level": 1.0}, {"by": "step"},
    {"index_disposition": "open"},
])
def test_what_is_asked_amiss_is_said(depot: Depot, how: dict[str, Any]) -> None:
    with pytest.raises(RequestError, match="forecast: "):
        depot.returns.forecast(**how)


def test_an_empty_store_and_a_young_one(rows: Any) -> None:
    with depot_of({"jobs": []}) as empty:
        assert empty.returns.forecast().table.is_empty()
    with depot_of(rows, as_of="2024-03-01") as young:
        answer = young.returns.forecast(by=())
    assert answer.table.height == 3
    assert any("does not reach far enough back" in note for note in answer.notes)


def test_the_picture_says_what_is_expected(depot: Depot) -> None:
    assert "Alder · Quern within 4 weeks" in plot(depot.returns.forecast()).to_dict()["description"]
