"""Control charts of every kind say in words and shapes what they show, and nothing runs into anything else."""

from dataclasses import replace
from typing import Any

import polars as pl
import pytest

from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.charts.control_rows import short
from rqa.plots.renderer import still
from tests.plots.charts.made_charts import ABOVE, capability, detection, gaps, measured, staged, watched, weeks
from tests.plots.test_plots import layers, rows, styles


def said(spec: dict[str, Any]) -> str:
    return str(spec["description"]).replace("\u00a0", " ")


def test_weeks_are_iso_weeks_in_order_and_named_by_quarter() -> None:
    spec = plot(weeks()).to_dict()
    x = next(layer["encoding"]["x"] for layer in layers(spec) if "scale" in layer["encoding"].get("x", {}))
    assert (x["scale"]["domain"][0], x["scale"]["domain"][-1]) == ("2025-W02", "2026-W09")
    assert len(x["scale"]["domain"]) == 60
    assert x["axis"]["values"] == ["2025-W14", "2025-W27", "2025-W40", "2026-W01"]
    assert "week 2 of 2025 to week 9 of 2026" in said(spec)


def test_a_tiny_period_does_not_stretch_the_scale() -> None:
    """Its limit of 100 % is cut at the top, and still told in full under the pointer."""
    spec = plot(weeks()).to_dict()
    tiny = rows(spec)[2]
    assert tiny["upper"] == 1.0
    assert tiny["to"] < 0.5
    assert tiny["limits"].replace("\u00a0", " ") == "0 % to 100 %"


def test_a_run_of_signals_has_one_word_and_its_pattern() -> None:
    words = [(r["month"], r["word"]) for r in rows(plot(weeks()).to_dict()) if r["word"]]
    assert words == [("2025-W22", "eight in a row below"), ("2025-W42", "above")]


def test_words_for_which_there_is_no_room_are_left_out() -> None:
    """Two different signals side by side: the second keeps its diamond and its place in the text alternative."""
    close = {
        20: "four of five beyond one sigma, above the centre",
        21: "two of three beyond two sigma, above the centre",
    }
    spec = plot(weeks(close)).to_dict()
    assert [r["word"] for r in rows(spec) if r["word"]] == ["four of five above"]
    assert "two of three beyond two sigma" in said(spec)


def test_a_word_at_the_floor_stands_above_its_point() -> None:
    """Below it are the size bars."""
    (low,) = [r for r in rows(plot(weeks()).to_dict()) if r["word"].startswith("eight")]
    assert low["value"] == 0.0
    assert low["up"]


@pytest.mark.parametrize(
    ("signal", "word"),
    [
        (ABOVE, "above"),
        ("two of three beyond two sigma, below the centre", "two of three below"),
        ("six in a row, steadily up", "six in a row steadily up"),
        (f"{ABOVE}; eight in a row, above the centre", "above …"),
    ],
)
def test_signals_in_short(signal: str, word: str) -> None:
    assert short(signal) == word


def test_gaps_are_numbered_and_keep_two_of_one_day_apart() -> None:
    spec = plot(gaps()).to_dict()
    assert len({r["month"] for r in rows(spec)}) == 30
    assert "rqa-size" not in styles(spec)
    assert "number 30" in said(spec)
    assert "120 jobs, above the upper limit" in said(spec)


def test_stages_are_split_named_and_have_their_centre() -> None:
    spec = plot(staged()).to_dict()
    assert "rqa-stage" in styles(spec)
    told = [r["stage_said"].replace("\u00a0", " ") for r in rows(spec) if r["stage_said"]]
    assert told == ["mean 10.0 %", "ACT-1: mean 5.0 %", "from Jan 2026: mean 3.3 %"]
    assert "New stage at July 2025: ACT-1." in said(spec)
    assert "Mean 3.3 % in stage 3." in said(spec)


def test_points_set_aside_are_crosses_with_their_reason() -> None:
    spec = plot(staged()).to_dict()
    assert spec["config"]["style"]["rqa-aside"]["shape"] == "cross"
    assert "bad lot of cables" in still(spec)
    assert "Set aside: June 2025 10.0 %, bad lot of cables." in said(spec)
    # A stage begins right after it, so the reason stands to its left.
    (aside,) = [r for r in rows(spec) if r["aside"]]
    assert aside["edge"] == "r"
    assert "reason" in plot(staged("r" * 60)).to_json()


def test_figures_that_are_no_shares_have_a_scale_and_a_unit_each() -> None:
    spec = plot(measured()).to_dict()
    assert [panel["title"]["text"] for panel in spec["vconcat"]] == ["load (V)", "rate (A)"]
    tops = [panel["layer"][-1]["encoding"] for panel in spec["vconcat"]]
    assert len(tops) == 2
    assert "no limits yet" in still(spec)
    assert "4 V" in said(spec)


def test_a_chart_without_limits_does_not_say_that_all_is_well() -> None:
    answer = measured()
    spec = plot(replace(answer, table=answer.table.filter(answer.table["test"] == "rate"))).to_dict()
    assert "No limits: too little data." in said(spec)
    assert "outside the limits" not in said(spec)


def test_a_watched_sum_has_its_limit_and_the_day_it_grew_from() -> None:
    spec = plot(watched()).to_dict()
    assert {"rqa-limit", "rqa-signal", "rqa-size"} <= styles(spec)
    assert "2025-02-15: more come-backs, growing since 2025-01-06" in said(spec)
    assert "more often than the mix of work explains?" in said(spec)
    assert "less often" in said(plot(watched(odds=0.5)).to_dict())
    assert {r["panel"] for r in rows(plot(watched(by=("site",))).to_dict())} == {"Alder", "Birch"}


def test_margins_are_in_order_and_refusals_are_said() -> None:
    spec = plot(capability()).to_dict()
    assert [r["label"] for r in rows(spec)] == [
        "load, 3.5 to 4.5\u00a0V",
        "drift, no limits",
        "rate, at most 2.2\u00a0A",
    ]
    assert "Not stable" in still(spec)
    assert "Ppk 1.60 (1.50 to 1.72)" in said(spec)


def test_weeks_to_detect_are_lines_from_mean_to_nine_in_ten() -> None:
    first = rows(plot(detection()).to_dict())[0]
    assert (first["label"], first["low"], first["high"]) == ("Alder · p chart by month", 20.8, 39.1)
    assert first["beside"] == "21 weeks  ·  false alarm every 8.5 years"


def test_too_many_panels_are_refused_with_the_way_out() -> None:
    answer = measured()
    many = [answer.table.with_columns(test=pl.lit(f"t{i}")) for i in range(13)]
    with pytest.raises(RequestError, match=r"13 groups .*where="):
        plot(replace(answer, table=pl.concat(many)))
