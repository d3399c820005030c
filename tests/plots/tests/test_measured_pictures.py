"""Pictures of limits, measured values, stations and agreement: compiled offline, said in words, empty ones too."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.depots import depot_of

START = datetime(2026, 1, 5, 8)
FITTING = 75
"""Letters of a line under the title that a picture of 400 pixels is wide: more would widen it."""
ASKED: dict[str, Callable[[Depot], Answer]] = {
    "limit": lambda d: d.tests.limits("charge", side="upper", window=30),
    "limits": lambda d: d.tests.limits(window=30),
    "readings": lambda d: d.tests.readings(gauge_sigma=0.02),
    "stations": lambda d: d.tests.drift(),
    "stations by week": lambda d: d.tests.drift(period="week", min_cases=2),
    "agreement": lambda d: d.tests.agreement(),
}

SAID = {
    "limit": "charge, upper limit", "limits": "lower limit", "readings": "median", "agreement": "kappa",
    "stations": "charge · S2: drifts", "stations by week": "charge · S2",
}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    rng = np.random.default_rng(3)
    jobs, runs = [], []
    for n in range(240):
        day = START + timedelta(days=n)
        back = n % 12 == 0
        value = round(float(rng.normal(1.5 + 0.3 * back + 0.0015 * n * (n % 3 == 1), 0.15)), 2)
        jobs.append({"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": day, "closed_at": day + timedelta(hours=8)})
        if back:
            jobs.append({"job_id": f"R{n}", "unit_id": f"U{n}", "opened_at": day + timedelta(days=9),
                         "closed_at": day + timedelta(days=10), "found": "battery"})
        run = {"job_id": f"J{n}", "test": "charge", "run": 1, "outcome": "pass" if value <= 1.9 else "fail",
               "run_at": day, "value": value, "unit": "A", "lower_limit": 1.0, "upper_limit": 1.9,
               "station": f"S{n % 3 + 1}"}
        runs.append(run)
        if run["outcome"] == "fail":
            runs.append({**run, "run": 2, "outcome": "pass", "value": 1.8, "run_at": day + timedelta(hours=1)})
    study = [
        {"study": "S", "unit": f"P{p}", "appraiser": a, "trial": t, "value": p + float(rng.normal(0, 0.1)),
         "test": "charge"}
        for p in range(5) for a in "AB" for t in (1, 2)
    ]
    study += [
        {"study": "marks", "unit": f"P{p}", "appraiser": a, "trial": 1, "outcome": "fail" if (p + (a == "B")) % 4 else
         "pass", "reference": "fail" if p % 4 else "pass"}
        for p in range(12) for a in "AB"
    ]
    tables = {
        "jobs": jobs,
        "diagnostics": runs,
        "studies": study,
        "tests": [{"test": "charge", "subsystem": "battery"}],
    }
    with depot_of(tables, "2026-12-31") as opened:
        yield opened


@pytest.mark.parametrize("name", ASKED)
def test_every_picture_compiles_the_same_twice_and_says_what_it_shows(depot: Depot, name: str) -> None:
    answer = ASKED[name](depot)
    for width in (400, 900):
        spec = plot(answer, width=width).to_dict()
        assert json.dumps(spec, sort_keys=True) == json.dumps(plot(answer, width=width).to_dict(), sort_keys=True)
        assert compiled(spec)
        svg = still(spec)
        assert "http" not in svg.replace("http://www.w3.org", "")
        assert "NaN" not in svg
    assert SAID[name] in spec["description"]
    assert max(map(len, spec["title"]["subtitle"])) <= FITTING


@pytest.mark.parametrize("name", ASKED)
def test_an_empty_answer_says_no_data(depot: Depot, name: str) -> None:
    answer = ASKED[name](depot)
    assert "no data" in plot(replace(answer, table=answer.table.clear())).to_dict()["description"]


def test_the_present_limit_is_named_and_signals_have_a_word(depot: Depot) -> None:
    assert "now 1.9\u00a0A" in still(plot(ASKED["limit"](depot)).to_dict())
    rows = plot(ASKED["stations"](depot)).to_dict()["data"]["values"]
    assert {r["word"] for r in rows if r["at"] is not None} <= {"single value", "average"}
    assert all(r["word"] for r in rows if r["at"] is not None)
    named = [(r["panel"], r["word"]) for r in rows if r["first"]]
    assert sorted(named) == sorted({(r["panel"], r["word"]) for r in rows if r["word"]})
    assert {r["above"] == (r["at"] > r["centre"]) for r in rows if r["first"]} == {True}


def test_guard_bands_and_limits_are_drawn_where_they_are_known(depot: Depot) -> None:
    kinds = [row["kind"] for row in plot(ASKED["readings"](depot)).to_dict()["data"]["values"]]
    assert kinds.count("limit") == kinds.count("guard") == 2
    assert "bin" in kinds


def test_too_many_panels_are_refused(depot: Depot) -> None:
    answer = depot.tests.readings(by=("test", "week"))
    with pytest.raises(RequestError, match="panels"):
        plot(answer)
