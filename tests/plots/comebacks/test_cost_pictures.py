"""Pictures of costs: costliest first or month by month, said in words, amounts without false digits."""

import json
from datetime import date
from typing import Any

import polars as pl
import pytest

from rqa.answers.comebacks.costs import ComebackCosts
from rqa.plots import plot
from rqa.plots.comebacks.costs import money
from rqa.plots.renderer import still


def costs(by: tuple[str, ...], keys: list[Any], cost: list[float | None]) -> ComebackCosts:
    table = pl.DataFrame(
        {by[0]: keys, "comebacks": [9] * len(keys), "known": [0 if c is None else 8 for c in cost], "cost": cost,
         "cost_low": [c and c * 0.6 for c in cost], "cost_high": [c and c * 1.5 for c in cost],
         "mean": [c and c / 8 for c in cost], "low": [c and c / 10 for c in cost], "high": [c and c / 5 for c in cost],
         "share": [0.5] * len(keys), "cumulative": [0.5] * len(keys)},
        schema_overrides={"cost": pl.Float64},
    )
    return ComebackCosts(table, {"by": by, "level": 0.95, "currency": "EUR", "where": {}, "months": None})


def test_costliest_first_with_amount_and_share() -> None:
    chart = plot(costs(("class",), ["repeat", "unknown"], [1234.5, None])).to_dict()
    first, second = chart["data"]["values"] if "values" in chart["data"] else next(iter(chart["datasets"].values()))
    assert first["beside"] == "1,234\u00a0EUR  ·  together 50.0\u00a0%"
    assert (second["label"], second["cost"], second["said"][:7]) == ("class unknown", None, "no data")
    assert "repeat: 1,234\u00a0EUR (741 to 1,852), 8 of 9 come-backs with a known cost" in chart["description"]
    assert "workmanship" not in json.dumps(chart)


def test_months_stand_in_order() -> None:
    months = [date(2026, 3, 1), date(2026, 1, 1), date(2026, 2, 1)]
    chart = plot(costs(("month",), months, [100.0, None, 300.0])).to_dict()
    assert "January 2026" in chart["description"]
    assert still(chart).startswith("<svg")
    assert json.dumps(chart["layer"][0]["encoding"]["x"]["scale"]["domain"]) == '["2026-01", "2026-02", "2026-03"]'


@pytest.mark.parametrize(
    ("by", "keys"), [("class", ["repeat", "unknown"]), ("month", [date(2026, 3, 1), date(2026, 1, 1)])]
)
def test_what_is_not_known_is_not_drawn_as_nothing(by: str, keys: list[Any]) -> None:
    chart = plot(costs((by,), keys, [None, None])).to_dict()
    assert still(chart).startswith("<svg")
    said = json.dumps(chart)
    assert "No come-back of these has a known cost" in chart["description"]
    assert not [wrong for wrong in ("in all", "no data (", '"cost"', ": 0.0,", ": 0.0}") if wrong in said]


def test_money() -> None:
    assert (money(1234.6, "EUR"), money(0.0), money(None, "EUR")) == ("1,235\u00a0EUR", "0", "no data")
