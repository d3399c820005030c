"""The small picture beside a number: its course, band, goal, and what is not final."""

from dataclasses import replace
from datetime import date
from typing import Any

import altair as alt
import polars as pl
import pytest

from rqa.answers.charts.control_chart import ControlChart
from rqa.plots import plot
from rqa.plots.charts.small_control import LETTERS, WIDTH, small_control
from rqa.plots.level_change import LINE, SETTING, LevelChange
from rqa.plots.renderer import still
from tests.plots.test_plots import layers, styles


def months(measure: str = "comebacks", points: int = 24, value: float = 0.05) -> ControlChart:
    """Two years, of which the last three months are not final and the tenth is above its limit."""
    table = pl.DataFrame({
        "period": [date(2024 + i // 12, i % 12 + 1, 1) for i in range(points)], "size": 100,
        "value": [value + 0.2 * (i == 9) for i in range(points)], "centre": value, "lower": 0.0, "upper": value + 0.1,
        "signal": ["above the upper limit" if i == 9 else "" for i in range(points)],
        "mature": [i < points - 3 for i in range(points)],
    })
    return ControlChart(table, {"measure": measure, "by": (), "period": "month", "window": 30, "unit": "share"})


def spec_of(chart: ControlChart, goal: float | None = None) -> dict[str, Any]:
    spec: dict[str, Any] = small_control(chart, goal).to_dict(validate=False)
    alt.Root.validate(spec)
    return spec


def test_it_shows_course_band_goal_and_what_is_not_final() -> None:
    spec = spec_of(months(), 0.04)
    assert spec["width"] == WIDTH
    shown = ("band", "centre", "line", "dot", "signal", "limit")
    assert styles(spec) == {f"rqa-{name}" for name in shown}
    assert [r["mature"] for r in layers(spec)[0]["data"]["values"]].count(False) == 3
    # Those not final are on no line and have no dot, as both are drawn of judged months alone.
    for drawn in ("rqa-line", "rqa-dot", "rqa-signal"):
        made = next(layer for layer in layers(spec) if layer.get("mark", {}).get("style") == drawn)
        assert "datum.mature" in str(made["transform"])
    assert "Goal, as a dashed line: 4.0" in spec["description"]
    assert "October 2024 25.0" in spec["description"].replace("\u00a0", " ")


def test_a_change_of_level_is_drawn_where_it_is_dated() -> None:
    """An upright line at its month, a mean on either side in place of the one of all months, and both as numbers."""
    change = LevelChange(date(2025, 3, 1), date(2025, 9, 1), date(2024, 1, 1), 0.112, 0.047)
    chart = months()
    changed = replace(chart, settings={**chart.settings, SETTING: change})
    spec = spec_of(changed)
    assert {"rqa-stage", "rqa-centre", "rqa-stage-word"} <= styles(spec)
    marks = [v for layer in layers(spec) for v in layer.get("data", {}).get("values", ()) if "mean" in v]
    assert {(v["first"], v["last"], v["mean"]) for v in marks} == {
        ("2024-01", "2025-02", 0.112), ("2025-03", "2025-09", 0.047)
    }
    svg = still(spec).replace("\u00a0", " ")
    assert ">11.2 %<" in svg
    assert ">4.7 %<" in svg
    assert "The level changed in March 2025: mean 11.2 % before, 4.7 % since." in spec["description"].replace(
        "\u00a0", " "
    )
    whole = plot(changed).to_dict()
    said = still(whole).replace("\u00a0", " ")
    assert "from Mar 2025: mean 4.7 %" in said
    assert "mean 11.2 %" in said
    assert LINE in whole["title"]["subtitle"]


def test_without_a_goal_none_is_drawn() -> None:
    spec = spec_of(months())
    assert "rqa-limit" not in styles(spec)
    assert "Goal" not in spec["description"]


@pytest.mark.parametrize("points", [1, 2, 24])
def test_its_labels_are_the_first_and_the_last_month(points: int) -> None:
    svg = still(spec_of(months(points=points)))
    assert ">Jan 24<" in svg
    assert (">Dec 25<" in svg) == (points == 24)
    assert f"{LETTERS}px" in svg


def test_the_goal_is_within_the_scale_however_far() -> None:
    """A goal above every value of a yield, and one below, is seen."""
    for goal in (0.5, 0.999):
        spec = spec_of(months("first_pass_yield", value=0.8), goal)
        scale = next(y["scale"]["domain"] for la in layers(spec) if "scale" in (y := la["encoding"].get("y", {})))
        assert scale[0] <= goal <= scale[1]


def test_of_nothing_it_says_so() -> None:
    empty = months()
    for chart in (
        replace(empty, table=empty.table.clear()),
        replace(empty, table=empty.table.with_columns(value=pl.lit(None, pl.Float64))),
    ):
        assert "no data" in str(spec_of(chart)["description"])


@pytest.mark.parametrize("value", [0.05, 0.45, 0.974, 0.9712, 0.988])
def test_the_named_ends_of_the_scale_are_where_they_stand(value: float) -> None:
    """A scale from 96.5 to 98.5 % must not say 97 and 99."""
    chart = months("first_pass_yield", value=value)
    near = chart.table.with_columns(
        pl.lit(value).alias("value"), pl.lit(value - 0.006).alias("lower"), pl.lit(value + 0.006).alias("upper")
    )
    spec = spec_of(replace(chart, table=near))
    axes = [layer["encoding"]["y"]["axis"] for layer in layers(spec)]
    assert all(axis == axes[0] for axis in axes)
    for end in axes[0]["values"]:
        said = f"{end:{axes[0]['format']}}"
        assert float(said.removesuffix("%")) / 100 == pytest.approx(end, abs=1e-9), said
