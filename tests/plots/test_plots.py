"""Every answer has a picture that compiles offline, says its key numbers in words, and hides neither size nor doubt."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.answers.data.intake_report import LooseEnds
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.cases import some_slow
from tests.plots.charts import made_charts
from tests.plots.made_answers import by_model, by_month, clean, comebacks, control, first_pass, rolled

ANSWERS: dict[str, Callable[[], Answer]] = {
    "come-backs by model": by_model,
    "come-backs by month": by_month,
    "come-backs by model and month": lambda: by_month(("Marl-8", "Marl-10")),
    "first-pass yield": first_pass,
    "diagnostics": lambda: first_pass(of="diagnostics"),
    "rolled yield": rolled,
    "clean jobs": clean,
    "clean jobs by month": lambda: clean(by_months=True),
    "control chart": control,
    "control chart without signals": lambda: control(signals=()),
    "control charts by site": lambda: control(by=("site",)),
    "control chart by week": made_charts.weeks,
    "control chart of gaps": made_charts.gaps,
    "control chart in stages": made_charts.staged,
    "control charts of measurements": made_charts.measured,
    "control of come-backs job by job": made_charts.watched,
    "control by sums and site": lambda: made_charts.watched(by=("site",)),
    "control of margins": made_charts.capability,
    "control, weeks to detect": made_charts.detection,
}


def layers(spec: Any) -> list[dict[str, Any]]:
    inner = spec.get("spec", spec)
    return list(inner.get("layer", [inner]))


def rows(spec: Any) -> list[dict[str, Any]]:
    return list(spec["data"]["values"])


def styles(spec: Any) -> set[str]:
    return {layer["mark"].get("style", "") for layer in layers(spec)}


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("selection", some_slow([True, False], 1))
def test_every_picture_compiles_and_is_the_same_twice(name: str, selection: bool) -> None:
    spec = plot(ANSWERS[name](), selection=selection).to_dict()
    again = plot(ANSWERS[name](), selection=selection).to_dict()
    assert json.dumps(spec, sort_keys=True) == json.dumps(again, sort_keys=True)
    assert json.dumps(compiled(spec)) == json.dumps(compiled(again))
    svg = still(spec)
    assert "http" not in svg.replace("http://www.w3.org", "")
    assert "NaN" not in svg
    assert spec["description"]
    assert spec["config"]["font"].endswith("sans-serif")


@pytest.mark.parametrize("name", ANSWERS)
def test_an_empty_answer_says_no_data(name: str) -> None:
    answer = ANSWERS[name]()
    spec = plot(replace(answer, table=answer.table.clear())).to_dict()
    assert "no data" in spec["description"]
    assert "no data" in still(spec)


@pytest.mark.parametrize("name", [n for n in ANSWERS if "control" not in n])
def test_intervals_and_sizes_are_drawn(name: str) -> None:
    """Both are there without pointing at anything."""
    spec = plot(ANSWERS[name](), selection=False).to_dict()
    assert "rqa-interval" in styles(spec)
    assert {"rqa-size", "rqa-number"} & styles(spec)


def test_the_words_hold_the_key_numbers() -> None:
    said = plot(by_model()).to_dict()["description"].replace("\u00a0", " ")
    # 24 of 300: Wilson 95 %, from the closed form by hand: centre 0.08530, half-width 0.03109
    assert "Marl-10: 8.0 % (24 of 300, 95 % interval 5.4 to 11.6 %)" in said
    assert "All together: 5.1 %" in said
    assert "Quern: no data" in said


def test_no_data_is_neither_zero_nor_hidden() -> None:
    quern = rows(plot(by_model()).to_dict())[-1]
    assert (quern["label"], quern["value"], quern["counts"]) == ("Quern", None, "0 of 0")


def test_rows_stand_in_a_total_order_worst_first() -> None:
    table = {"model": ["c", "b", "a"], "jobs": [50, 50, 90], "matured": [50, 50, 90], "returned": [5, 5, 18]}
    assert [r["label"] for r in rows(plot(comebacks(table, ("model",))).to_dict())] == ["a", "b", "c"]
    spec = plot(first_pass()).to_dict()
    assert [r["value"] for r in rows(spec)] == [0.9, 0.91, 0.92]
    assert "lowest first" in spec["title"]["subtitle"][0]


def test_counts_that_do_not_add_up_get_no_overall() -> None:
    """Classes repeat their denominator, and a job counts under each of its benches."""
    table = {"class": ["repeat", "unknown"], "jobs": [90, 90], "matured": [90, 90], "returned": [3, 2]}
    assert "All together" not in plot(comebacks(table, ("class",))).to_dict()["description"]


def test_months_not_matured_are_hollow_framed_and_named() -> None:
    spec = plot(by_month()).to_dict()
    assert {"rqa-hollow", "rqa-early"} <= styles(spec)
    assert [r["state"] for r in rows(spec)] == ["mature"] * 8 + ["partly matured", "not matured"]
    assert "Not yet matured: September 2025, October 2025" in spec["description"]
    assert "not yet matured" in still(spec)


def test_a_month_that_is_not_over_is_said_to_be_so() -> None:
    assert [r["state"] for r in rows(plot(clean(by_months=True)).to_dict())] == ["mature"] * 9 + ["month not over"]


def test_a_gap_in_the_months_stays_a_gap() -> None:
    answer = by_month()
    spec = plot(replace(answer, table=answer.table[[0, 4]])).to_dict()
    domain = next(layer["encoding"]["x"]["scale"]["domain"] for layer in layers(spec))
    assert domain == ["2025-01", "2025-02", "2025-03", "2025-04", "2025-05"]


def test_signals_have_a_shape_and_a_word() -> None:
    spec = plot(control()).to_dict()
    assert spec["config"]["style"]["rqa-signal"]["shape"] == "diamond"
    words = [r["word"] for r in rows(spec) if r["word"]]
    assert words == ["above, 2 months"]
    assert "above, 2 months" in still(spec)
    assert "April 2025" in spec["description"]
    assert "above the upper limit" in spec["description"]


def test_the_limits_step_with_the_size() -> None:
    """The band is one rectangle a month, as wide as the month."""
    band = next(x for x in layers(plot(control()).to_dict()) if x["mark"].get("style") == "rqa-band")
    assert (band["encoding"]["x"]["bandPosition"], band["encoding"]["x2"]["bandPosition"]) == (0, 1)


def test_notebook_pictures_can_be_chosen_from() -> None:
    assert [p["name"] for p in plot(by_model()).to_dict()["params"]] == ["pick"]
    two = comebacks(
        {"model": ["a", "b"], "site": ["x", "x"], "jobs": [9, 9], "matured": [9, 9], "returned": [1, 2]},
        ("model", "site"),
    )
    (pick,) = plot(two).to_dict()["params"]
    assert pick["bind"]["options"] == [None, "a", "b"]
    assert "params" not in plot(by_model(), selection=False).to_dict()


def test_filters_are_named() -> None:
    answer = by_model()
    asked = replace(answer, settings=dict(answer.settings) | {"where": {"site": ("Alder", "Birch")}})
    assert "only site Alder or Birch" in plot(asked).to_dict()["title"]["subtitle"]
    many = replace(asked, settings={**asked.settings, "where": {"test": tuple("abcdef")}})
    assert "only test a, b, c or 3 more" in plot(many).to_dict()["title"]["subtitle"]


def test_too_many_rows_are_refused_with_the_way_out() -> None:
    many = first_pass(tuple(f"step {i}" for i in range(2001)))
    with pytest.raises(RequestError, match=r"2,001 rows .* by=.*where="):
        plot(many)
    with pytest.raises(RequestError, match=r"13 groups by month .*where="):
        plot(by_month(tuple(f"m{i}" for i in range(13))))


def test_what_has_no_picture_is_named() -> None:
    answer = first_pass()
    with pytest.raises(RequestError, match=r"no picture of LooseEnds; there is one of ActionPower, .*, Comebacks, "):
        plot(LooseEnds(answer.table, {}))


def test_most_draws_the_first_and_judges_all() -> None:
    spec = plot(first_pass(tuple(f"s{i}" for i in range(30))), limit=12).to_dict()
    assert len(rows(spec)) == 12
    assert "the first 12 of 30 rows" in spec["title"]["subtitle"]
    assert "All together: 94.5" in spec["description"]


def test_hostile_names_stay_names() -> None:
    hostile = "</script><img src=x onerror=alert(1)>'\"\\"
    svg = still(plot(by_model((hostile, "b"))).to_dict())
    assert "<img" not in svg
    compiled(plot(by_month((hostile, "b"))).to_dict())
    compiled(plot(control()).to_dict())


@pytest.mark.parametrize(
    ("values", "place"),
    [
        ([0.05] * 6 + [0.02] * 6, ("below", "2025-01")),
        ([0.02] * 6 + [0.05] * 6, ("above", "2025-01")),
        ([0.05, 0.02] * 3 + [0.05] * 6, ("below", "2025-07")),
        ([0.05, 0.02] * 6, ("over the chart", "2025-01")),
    ],
)
def test_the_centre_s_value_stands_where_the_line_does_not_cross_it(
    values: list[float], place: tuple[str, str]
) -> None:
    answer = control(signals=())
    months = [date(2025, m, 1) for m in range(1, 13)]
    columns = {"period": months, "size": [100] * 12, "value": values, "centre": [0.035] * 12, "lower": [0.0] * 12,
               "upper": [0.09] * 12, "signal": [""] * 12, "mature": [True] * 12}
    spec = plot(replace(answer, table=pl.DataFrame(columns)), selection=False).to_dict()
    (word,) = [x for x in layers(spec) if x["encoding"].get("text", {}).get("field") == "centre_word"]
    side = "over the chart" if "value" in word["encoding"]["y"] else "above" if word["mark"]["dy"] < 0 else "below"
    assert side == place[0]
    assert f"'{place[1]}'" in word["transform"][0]["filter"]
