"""Pictures of comparisons, failures, rework, defects and practice: compiled offline, said in words, nothing hidden."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import polars as pl
import pytest

from rqa.answers.compare.comparison import Comparison
from rqa.answers.compare.practice import Learning
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.yields.defects import Defects
from rqa.answers.yields.pareto import Failures
from rqa.answers.yields.rework import Rework, ReworkRoutes
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.cases import some_slow

HARD_SPACE = "\u00a0"


def comparison(verdicts: tuple[str, ...] = (), ratios: tuple[float, ...] = (), **settings: Any) -> Comparison:
    verdicts = verdicts or ("above expectation", "not distinguishable", "below expectation", "too little work to say")
    ratios = ratios or (1.9, 1.0, 0.5, 6.0)
    n = len(verdicts)
    expected = [40.0, 35.0, 38.0, 0.5, *[30.0 + i for i in range(n)]][:n]
    table = pl.DataFrame(
        {
            "technician": [f"T{i:02d}" for i in range(1, n + 1)],
            "exposures": [400] * n,
            "observed": [round(e * r) for e, r in zip(expected, ratios, strict=True)],
            "expected": expected,
            "ratio": list(ratios),
            "low": [r * 0.8 for r in ratios],
            "high": [r * 1.2 for r in ratios],
            "shrunk": [1 + (r - 1) / 2 for r in ratios],
            "verdict": list(verdicts),
        }
    )
    base = {"by": ("technician",), "who": "technician", "outcome": "first_pass", "window": None, "spread": 1.0,
            "level": 0.95, "where": {}, "months": None}
    return Comparison(table, base | settings)


def failures(fault: str = "F1") -> Failures:
    table = pl.DataFrame(
        {"step": ["close case", "open_case"], "fault": [fault, "unknown"], "failures": [3, 1], "first": [2, 1],
         "share": [0.75, 0.25], "low": [0.3, 0.05], "high": [0.95, 0.7], "cumulative": [0.75, 1.0],
         "cumulative_low": [0.3, 0.51], "cumulative_high": [0.95, 1.0]}
    )
    return Failures(table, {"by": ("step", "fault"), "level": 0.95})


def rework() -> Rework:
    table = pl.DataFrame({"step": ["close_case", "open_case"], "executed": [200, 100], "reworked": [8, 0]})
    return Rework(
        with_shares(table, part="reworked", whole="executed", share="share", level=0.95),
        {"by": ("step",), "level": 0.95},
    )


def routes() -> ReworkRoutes:
    table = pl.DataFrame(
        {"step": ["close case"] * 2, "way": ["again", "back"], "to_step": ["", "open_case"], "failures": [3, 1],
         "share": [0.75, 0.25], "low": [0.3, 0.05], "high": [0.95, 0.7]}
    )
    return ReworkRoutes(table, {"by": ("step",), "level": 0.95})


def defects() -> Defects:
    table = pl.DataFrame(
        {"step": ["open", "close"], "jobs": [50, 50], "exposures": [50, 50], "failed": [0, 5],
         "opportunities": [200, 100],
         "dpu": [0.0, 0.1], "dpu_low": [0.0, 0.03], "dpu_high": [0.07, 0.23], "dpmo": [0.0, 50_000.0],
         "dpmo_low": [0.0, 16_000.0], "dpmo_high": [18_000.0, 117_000.0], "sigma": [None, 1.645],
         "sigma_shifted": [None, 3.145]}
    )
    return Defects(table, {"by": ("step",), "level": 0.95})


def learning(pairs: int = 2) -> Learning:
    """Pairs beyond the first have a curve as well; the last one has too little work."""
    names = [f"T{i:02d}" for i in range(1, pairs + 2)]
    told = [*[1.0] * pairs, None]
    table = pl.DataFrame(
        {
            "technician": names, "procedure": "board", "jobs": [40] * pairs + [3], "exposures": [400] * pairs + [20],
            "passed": [360] * pairs + [20], "yield": [0.9] * pairs + [1.0],
            "doubling": [t and 1.3 for t in told], "low": [t and 0.1 for t in told], "high": [t and 1.7 for t in told],
            "now": [t and 0.93 for t in told], "now_low": [t and 0.9 for t in told],
            "now_high": [t and 0.95 for t in told], "depot": [0.91] * (pairs + 1),
            "verdict": ["rises with practice"] * pairs + ["too little work to say"],
        }
    )
    practice = pl.DataFrame(
        [
            {"technician": name, "procedure": "board", "experience": float(k), "exposures": 10, "passed": 7 + k // 20}
            for name in names[:-1]
            for k in range(1, 41)
        ]
    )
    return Learning(table, {"by": (), "level": 0.95, "where": {}}, practice=practice)


ANSWERS: dict[str, Callable[[], Answer]] = {
    "comparison": comparison,
    "comparison of many": lambda: comparison(("not distinguishable",) * 30, (1.1, 0.9, 1.0) * 10),
    "comparison of come-backs": lambda: comparison(outcome="comeback", window=90, spread=1.7),
    "failures": failures,
    "rework": rework,
    "routes": routes,
    "defects": defects,
    "practice, curves": learning,
    "practice, one curve": lambda: learning(1),
    "practice, rows": lambda: learning(8),
}


def layers(spec: Any) -> list[dict[str, Any]]:
    inner = spec.get("spec", spec)
    return list(inner.get("layer", [inner]))


def styles(spec: Any) -> set[str]:
    return {layer["mark"].get("style", "") for layer in layers(spec)}


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("width", some_slow([300, 640, "container"], 1))
def test_every_picture_compiles_and_is_the_same_twice(name: str, width: Any) -> None:
    spec = plot(ANSWERS[name](), width=width).to_dict()
    again = plot(ANSWERS[name](), width=width).to_dict()
    assert json.dumps(spec, sort_keys=True) == json.dumps(again, sort_keys=True)
    assert compiled(spec)
    svg = still(spec)
    assert "http" not in svg.replace("http://www.w3.org", "")
    assert "NaN" not in svg
    assert spec["description"]


@pytest.mark.parametrize("name", ANSWERS)
def test_an_empty_answer_says_no_data(name: str) -> None:
    answer = ANSWERS[name]()
    spec = plot(replace(answer, table=answer.table.clear())).to_dict()
    assert "no data" in spec["description"]


def test_a_funnel_names_those_that_stand_out_and_ranks_nobody() -> None:
    spec = plot(comparison()).to_dict()
    svg = still(spec)
    assert {"rqa-band", "rqa-signal", "rqa-word", "rqa-hollow"} <= styles(spec)
    assert "T01 above" in svg
    assert "T03 below" in svg
    said = spec["description"]
    assert "Statistically clear: T01, 76 observed, 40.0 expected of 400, 1.90 times" in said
    assert "Not distinguishable: T02." in said
    assert "Too little work to say: 1." in said
    quiet = plot(comparison(("not distinguishable",) * 2, (1.1, 0.9))).to_dict()
    assert "None is further out than chance allows" in quiet["description"]


def test_a_funnel_of_one_says_that_nobody_stands_beside_it() -> None:
    one = comparison().table.head(1).with_columns(pl.lit(0).alias("exposures"), pl.lit(None, pl.Float64).alias("ratio"))
    spec = plot(replace(comparison(), table=one)).to_dict()
    assert "Only one technician has such work: there is nothing to compare it with." in spec["description"]


def test_the_funnel_is_that_of_the_statistics_and_widens_with_the_spread() -> None:
    from rqa.stats import funnel_limits

    def band(answer: Comparison) -> list[dict[str, float]]:
        spec = plot(answer).to_dict()
        named = {layer["mark"].get("style"): layer for layer in layers(spec)}
        return list(named["rqa-band"]["data"]["values"])

    narrow, wide = band(comparison()), band(comparison(spread=2.0))
    answer = comparison()
    share = answer.table["observed"].sum() / answer.table["exposures"].sum()
    for point in narrow[::10]:
        limits = funnel_limits(trials=max(round(point["at"] / share), 1), centre=share)
        # Rounded to 4 digits on the chart, and cut at the highest ratio drawn.
        assert point["low_95"] == pytest.approx(float(limits.low) / share, abs=1e-4)
    assert all(w["low_95"] <= n["low_95"] for w, n in zip(wide, narrow, strict=True))


def test_names_on_a_funnel_do_not_run_into_each_other() -> None:
    """Ten groups at nearly the same place: not all can be named."""
    crowd = comparison(("not distinguishable",) * 10, (1.0,) * 10)
    crowd = replace(crowd, table=crowd.table.with_columns(pl.lit(40.0).alias("expected")))
    named = [r for layer in layers(plot(crowd).to_dict()) for r in layer.get("data", {}).get("values", [])
             if r.get("word")]
    assert len({r["name"] for r in named}) <= 2


def test_failures_stand_on_each_other() -> None:
    spec = plot(failures()).to_dict()
    first, second = spec["data"]["values"]
    assert (first["start"], first["end"], second["start"], second["end"]) == (0.0, 0.75, 0.75, 1.0)
    assert second["label"] == "open case · no fault code"
    assert f"close case · F1: 3, together 75.0{HARD_SPACE}%" in spec["description"]
    alone = plot(failures("unknown")).to_dict()
    assert "fault" not in alone["title"]["text"]


def test_no_defect_has_no_sigma_but_a_limit() -> None:
    spec = plot(defects()).to_dict()
    close, opened = spec["data"]["values"]
    assert "sigma 1.6" in close["beside"]
    assert "sigma" not in opened["beside"]
    assert opened["high"] == 18_000.0


def test_limits_beyond_the_chart_are_cut_and_shown_so() -> None:
    spec = plot(learning(8)).to_dict()
    row = spec["data"]["values"][0]
    assert (row["left"], row["cut_left"]) == (0.25, True)
    assert "1 more have too little work to say" in spec["title"]["subtitle"]


def test_few_get_curves_with_the_depots_level() -> None:
    spec = plot(learning(2)).to_dict()
    points = spec["data"]["values"]
    assert {p["panel"] for p in points} == {f"T0{i} · board: rises with practice" for i in (1, 2)}
    assert {p["depot"] for p in points} == {0.91}
    assert "T01 on board: rises with practice, now 93.0" in spec["description"]


def test_where_a_failed_check_went_is_said_in_words() -> None:
    said = plot(routes()).to_dict()["description"]
    assert "close case · same step again: 3" in said
    assert "close case · back to open case: 1" in said


def test_where_nothing_can_be_said_the_picture_says_so() -> None:
    """Rows there are, but none with a ratio or a curve."""
    answer = comparison()
    alone = replace(answer, table=answer.table.with_columns(pl.lit(None, pl.Float64).alias("ratio")))
    assert "no data" in plot(alone).to_dict()["description"]
    few = learning(2)
    little = replace(few, table=few.table.with_columns(pl.lit("too little work to say").alias("verdict")))
    assert "too little work" in plot(little).to_dict()["description"]
