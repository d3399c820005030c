"""Pictures of verdicts, an action's months and power: compiled offline, said in words, with empty states."""

import json
from datetime import date
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.answers.improve.action_power import ActionPower
from rqa.answers.improve.action_trend import ActionTrend
from rqa.answers.improve.verdicts import COLUMNS, Verdicts
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.cases import some_slow

TYPES = {"text": pl.String, "day": pl.Date, "count": pl.Int64, "share": pl.Float64, "chance": pl.Float64}


def verdicts(*rows: dict[str, Any]) -> Verdicts:
    table = pl.DataFrame(
        [{**dict.fromkeys(COLUMNS), **r} for r in rows], schema={n: TYPES[k] for n, k in COLUMNS.items()}
    )
    sides = pl.DataFrame(
        [("A", "in scope", "before", 100, 8, 0.08, 0.04, 0.15), ("A", "in scope", "after", 50, 1, 0.02, 0.0, 0.1),
         ("A", "beside it", "before", 100, 4, 0.04, 0.02, 0.1), ("A", "beside it", "after", 0, 0, None, None, None)],
        schema=["action_id", "work", "side", "jobs", "returned", "rate", "low", "high"], orient="row",
    )
    return Verdicts(table, {"window": 30, "level": 0.95}, sides=sides)


JUDGED = {
    "action_id": "A", "what": "cable_guide <fitted>", "outcome": "come-backs on own work", "verdict": "too early",
    "expected_on": date(2026, 9, 30), "comparison": "the same work of other models",
}
UNREAD = {"action_id": "B", "what": "glue", "verdict": "cannot be judged", "warning": "B: the scope is empty"}


def trend(*, fitted: bool = True) -> ActionTrend:
    months = [date(2025, m, 1) for m in range(1, 13)] + [date(2026, m, 1) for m in range(1, 5)]
    line = [0.08] * 16 if fitted else [None] * 16
    table = pl.DataFrame(
        {"month": months, "side": ["before"] * 12 + ["start"] + ["after"] * 3, "jobs": [100] * 15 + [0],
         "returned": [8] * 13 + [3, 2, 0], "rate": [0.08] * 13 + [0.03, 0.02, None], "low": [0.04] * 15 + [None],
         "high": [0.15] * 13 + [0.08, 0.07, None], "fitted": line, "unchanged": line, "unchanged_low": line,
         "unchanged_high": line},
        schema_overrides=dict.fromkeys(("fitted", "unchanged", "unchanged_low", "unchanged_high"), pl.Float64),
    )
    terms = pl.DataFrame(
        {"term": ["jump", "bend"], "odds_ratio": [0.3, 1.0], "low": [0.1, 0.8], "high": [0.7, 1.3]}
        if fitted else {"term": []}
    )
    return ActionTrend(table, {"action": "A", "scope": "site=Alder", "level": 0.95}, terms=terms)


def power() -> ActionPower:
    table = pl.DataFrame(
        {"month": [1, 2, 3], "known_on": [date(2026, 8, 1), date(2026, 8, 31), date(2026, 9, 30)],
         "jobs_after": [100, 200, 1300], "weeks": [8.7, 13.0, 17.4], "chance": [0.2, 0.5, 0.85],
         "smallest_ratio": [None, 0.2, 0.55], "enough": [False, False, True]}
    )
    return ActionPower(table, {"change": 0.5, "power": 0.8, "scope": "site=Alder", "level": 0.95})


ALL: dict[str, Answer] = {
    "verdicts": verdicts(JUDGED, UNREAD), "unread": verdicts(UNREAD), "none": verdicts(), "trend": trend(),
    "no fit": trend(fitted=False), "power": power(),
    "no power": ActionPower(power().table.clear(), power().settings),
}


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("width", some_slow([400, 900], 1))
def test_compiles_offline_and_has_words(name: str, width: int) -> None:
    chart = plot(ALL[name], width=width)
    spec = chart.to_dict()
    assert len(spec["description"]) > 20
    assert "http" not in json.dumps(spec).replace("https://vega.github.io/schema", "")
    assert compiled(spec)["marks"]
    assert still(spec).startswith("<svg")


def test_verdicts_stand_in_words_with_the_work_beside() -> None:
    said = plot(ALL["verdicts"]).to_dict()["description"]
    assert "A: too early, expected on 2026-09-30" in said
    assert "before: 8 of 100" in said
    assert "the same work of other models, before: 4 of 100" in said
    assert "the same work of other models, after: no matured job yet" in said
    assert "B:" not in said


def test_empty_states_say_why() -> None:
    assert "No action has a scope that can be read." in plot(ALL["unread"]).to_dict()["description"]
    assert "no data" in plot(ALL["none"]).to_dict()["description"]
    assert "no data" in plot(ALL["no power"]).to_dict()["description"]
    assert plot(ALL["no fit"]).to_dict()["description"].endswith("No trend is fitted.")


def test_the_trend_and_the_power_are_said() -> None:
    assert "jump x0.30 (0.10 to 0.70)" in plot(ALL["trend"]).to_dict()["description"]
    assert "enough with 1,300 jobs, known on 2026-09-30" in plot(ALL["power"]).to_dict()["description"]
