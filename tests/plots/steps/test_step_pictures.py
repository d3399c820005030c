"""Pictures of risky steps: in the procedure's order, marked by shape and word, compiled offline, said in words."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.answers.steps.attribution import Attribution
from rqa.answers.steps.relative_risk import StepRelativeRisk
from rqa.answers.steps.risk import DONE, UNTOUCHED, StepMap, StepRisk
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.cases import some_slow

SETTINGS = {"by": (), "window": 30, "level": 0.95, "where": {}, "sort": "per_10000", "procedure": "board"}


def risk_columns() -> dict[str, list[Any]]:
    return {
        "step": ["open case", "fit board", "write identity", "reseat cable"],
        "exposures": [900, 880, 880, 0],
        "per_10000": [0.0, 40.0, None, None],
        "low": [0.0, 10.0, 0.0, None],
        "high": [30.0, 90.0, 4000.0, None],
        "fails_per_1000": [None, 16.0, 14.0, 22.0],
        "hazards": ["sharp edge", "ESD", "", "latch, pinch"],
        "shared_with": ["", "write identity", "fit board", ""],
    }


def step_risk(by: tuple[str, ...] = ()) -> StepRisk:
    columns = {**{name: ["Marl-10"] * 4 for name in by}, **risk_columns()}
    return StepRisk(pl.DataFrame(columns), SETTINGS | {"by": by})


def step_map() -> StepMap:
    columns = {
        "place": [1, 2, 3, 4],
        "phase": ["open", "fit", "fit", "reseat"],
        "hold_point": [False, True, False, False],
        "irreversible": [False, False, True, False],
        **risk_columns(),
    }
    return StepMap(pl.DataFrame(columns), SETTINGS)


def attribution(by: tuple[str, ...] = (), groups: int = 1) -> Attribution:
    names = ["open case", "fit board + write identity + drive screws", "reseat cable"]
    table = pl.DataFrame(
        {
            **{name: [f"M{g}" for g in range(groups) for _ in names] for name in by},
            "step": names * groups,
            "subsystem": ["case", "main_board", "main_board"] * groups,
            "exposures": [900, 880, 880] * groups,
            "candidate_in": [3, 9, 8] * groups,
            "attributed": [3.0, 7.2, None] * groups,
            "per_10000": [33.0, 82.0, None] * groups,
        }
    )
    return Attribution(table, SETTINGS | {"by": by})


def relative_risk() -> StepRelativeRisk:
    table = pl.DataFrame(
        {
            "after": ["failed check", "tool", "bench", "rework"], "step": ["fit board", "fit board", "", "fit board"],
            "place": ["", "TD-1", "C-3", ""], "class": ["all"] * 4, "rate": [0.1, 0.0, 0.2, None],
            "other_rate": [0.05, 0.05, 0.05, None], "ratio": [2.0, 0.0, 4.0, None], "low": [1.1, 0.0, 2.5, None],
            "high": [3.9, 2.0, 6.0, None], "p_value": [0.03, 0.5, 1e-9, None], "p_adjusted": [0.05, 0.5, 3e-9, None],
        }
    )
    return StepRelativeRisk(table, SETTINGS)


ANSWERS: dict[str, Callable[[], Answer]] = {
    "step map": step_map,
    "step risk": step_risk,
    "step risk by model": lambda: step_risk(("model",)),
    "touch matrix": attribution,
    "touch matrix by model": lambda: attribution(("model",), 2),
    "relative risk": relative_risk,
}


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("width", some_slow([400, "container"], 1))
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
    assert "no data" in plot(replace(answer, table=answer.table.clear())).to_dict()["description"]


def test_the_map_keeps_the_order_and_marks_by_shape_and_word() -> None:
    spec = plot(step_map()).to_dict()
    rows = spec["data"]["values"]
    assert [r["label"] for r in rows] == ["1 · open case", "2 · fit board", "3 · write identity", "4 · reseat cable"]
    assert [r["new"] for r in rows] == [True, True, False, True]
    shapes = {layer["mark"].get("shape") for layer in spec["layer"]}
    assert {"square", "triangle-down"} <= shapes
    svg = still(spec)
    assert "fit phase  ·  hold point  ·  ESD  ·  one number with write identity" in svg.replace("\u00a0", " ")
    assert "cannot be undone" in svg
    assert "hair line = the next phase begins; square = hold point; triangle = cannot be undone" in (
        spec["title"]["subtitle"]
    )


def test_a_long_procedure_is_one_row_a_step_and_fits_a_sheet() -> None:
    """27 steps in at most 700 pixels, labels of at least 8 points where the picture is as wide as the text on A4."""
    few = step_map()
    columns = {name: (values.to_list() * 7)[:27] for name, values in zip(few.table.columns, few.table, strict=True)}
    columns["step"] = [f"step {n} of the procedure" for n in range(27)]
    columns |= {"place": list(range(1, 28)), "shared_with": [""] * 27}
    svg = still(plot(replace(few, table=pl.DataFrame(columns)), width=640, headed=False).to_dict())
    wide, high = (float(x) for x in re.findall(r'<svg [^>]*?width="([\d.]+)" height="([\d.]+)"', svg)[0])
    assert high <= 700
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
    on_paper = 182 / 25.4 * 72 / wide
    assert min(sizes) * on_paper >= 8


def test_steps_that_share_a_number_are_bracketed_in_both_orders() -> None:
    """By size they stand together; in the order of the procedure other brackets may lie between, each in its lane."""
    number = [5.0, 90.0, 40.0, 90.0, 5.0, 40.0]
    together = {5.0: "ab", 90.0: "cd", 40.0: "ef"}
    columns = {name: [values[0]] * 6 for name, values in zip(step_map().table.columns, step_map().table, strict=True)}
    names = ["a", "c", "e", "d", "b", "f"]
    columns |= {"place": [1, 2, 3, 4, 5, 6], "step": names, "per_10000": number, "low": number, "high": number}
    columns["shared_with"] = [together[v].replace(name, "") for v, name in zip(number, names, strict=True)]
    spec = plot(replace(step_map(), table=pl.DataFrame(columns))).to_dict()
    assert spec["params"][0]["value"] == "in the order of the procedure"
    assert spec["params"][0]["bind"]["options"] == ["in the order of the procedure", "by size"]
    held = [data for layer in spec["layer"] if (data := layer.get("data", {}).get("values"))]
    brackets = {(b["order"], b["lane"], b["from"], b["to"], b["at"]) for values in held for b in values}
    assert {b[:1] + b[2:4] for b in brackets} == {
        ("in the order of the procedure", 0, 4), ("in the order of the procedure", 1, 3),
        ("in the order of the procedure", 2, 5), ("by size", 0, 1), ("by size", 2, 3), ("by size", 4, 5),
    }
    assert {b[1] for b in brackets if b[0] == "by size"} == {0}
    assert {b[1] for b in brackets if b[0] != "by size"} == {0, 1, 2}
    assert [r["size"] for r in spec["data"]["values"]] == [4, 0, 2, 1, 5, 3]
    assert "params" not in plot(step_risk()).to_dict()


def test_what_cannot_be_told_has_limits_and_no_dot() -> None:
    rows = plot(step_map()).to_dict()["data"]["values"]
    assert (rows[2]["said"], rows[2]["shown"], rows[2]["cut"]) == ("not to be told", False, True)
    assert (rows[3]["said"], rows[3]["right"], rows[3]["interval"]) == ("not done", None, "no data")
    assert (rows[0]["said"], rows[0]["shown"]) == ("0", True)


def test_a_step_without_jobs_says_why() -> None:
    """A step of the procedure is not called “not done” where the log has it: it touches nothing, or no job counts."""
    said = []
    for why in (UNTOUCHED, DONE):
        row = plot(replace(step_map(), unlaid={("reseat cable",): why})).to_dict()["data"]["values"][3]
        said.append((row["said"], "touches no subsystem: no come-back can be attributed to it" in row["words"]))
    by_model = replace(step_risk(("model",)), unlaid={("Marl-10", "reseat cable"): UNTOUCHED})
    said.append(plot(by_model).to_dict()["data"]["values"][3]["said"])
    assert said == [("no subsystem", True), ("not to be told", False), "no subsystem"]


def test_the_map_is_told_in_words() -> None:
    said = plot(step_map()).to_dict()["description"]
    assert "Highest first: 2 · fit board: 40 come-backs in 10,000 (10 to 90 in 10,000)" in said
    assert "To be held: 2 · fit board (hold point); 3 · write identity (cannot be undone)." in said


def test_the_touch_matrix_names_groups_and_what_cannot_be_told() -> None:
    spec = plot(attribution()).to_dict()
    cells = {r["beside"]: r["said"] for r in next(iter(spec["datasets"].values()), [])} if "datasets" in spec else {
        r["beside"]: r["said"] for r in spec["data"]["values"]
    }
    assert cells == {"fit board + 2 more": "7", "open case": "3", "reseat cable": "?"}
    assert "fit board + write identity + drive screws, main board: 7.2 of 9 possible" in spec["description"]


def test_too_many_groups_are_not_squeezed_into_one_picture() -> None:
    with pytest.raises(RequestError, match="7 groups are more than a picture of 6"):
        plot(attribution(("model",), 7))


def test_ratios_stand_around_one_with_the_surest_first() -> None:
    spec = plot(relative_risk()).to_dict()
    rows = spec["data"]["values"]
    assert [r["label"] for r in rows] == ["bench · C-3", "failed check · fit board", "tool · fit board · TD-1"]
    assert "statistically clear" in rows[0]["beside"]
    assert (rows[2]["why"], rows[2]["shown"], rows[2]["cut_left"], rows[2]["right"]) == ("", False, True, 2.0)
    assert rows[2]["interval"] == "0.00 to 2.00 times"


def test_a_ratio_without_end_is_drawn_from_its_lower_limit() -> None:
    answer = relative_risk()
    endless = answer.table.with_columns(
        pl.when(pl.col("after") == "tool").then(float("inf")).otherwise(pl.col(c)).alias(c) for c in ("ratio", "high")
    )
    row = plot(replace(answer, table=endless)).to_dict()["data"]["values"][2]
    assert (row["shown"], row["cut_right"], row["interval"]) == (False, True, "0.00 times or more")


def test_words_that_stand_for_a_ratio_have_no_tick_across_them() -> None:
    spec = plot(relative_risk()).to_dict()
    ticks = [layer for layer in spec["layer"] if layer["mark"].get("style") == "rqa-tick"]
    assert ["isValid(datum.value)" in json.dumps(layer["transform"]) for layer in ticks] == [True]


def test_a_touch_matrix_of_many_causes_holds_the_riskiest_and_says_so() -> None:
    answer = attribution()
    numbered = [(pl.lit(f"{n} ") + pl.col("step")).alias("step") for n in range(30)]
    many = pl.concat([answer.table.with_columns(step, pl.col("per_10000") + n) for n, step in enumerate(numbered)])
    spec = plot(replace(answer, table=many)).to_dict()
    rows = spec["data"]["values"]
    assert len({r["beside"] for r in rows}) == 40
    assert min(r["value"] for r in rows if r["value"] is not None) == pytest.approx(53.0 / 10_000)
    assert "the first 40 of 90 causes" in spec["title"]["subtitle"]
