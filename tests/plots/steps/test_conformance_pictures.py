"""Pictures of conformance and breaches: compiled offline, said in words, worst first, nothing hidden."""

import json
from typing import Any

import polars as pl
import pytest

from rqa.answers.steps.battery_breaches import BatteryBreaches
from rqa.answers.steps.conformance import Breaches, Conformance
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.renderer import compiled, still
from tests.cases import some_slow

SETTINGS = {"by": (), "per": "step", "window": 30, "steps": False, "level": 0.95, "where": {}, "months": None}
KINDS = ("missing", "skipped", "left_failed", "out_of_order", "check_before_tightening", "count_not_done",
         "unequal_connectors", "irreversible_before_hold")


def conformance(steps: int = 3) -> Conformance:
    names = ["align button", "open case", *[f"step {i}" for i in range(steps)]][:steps]
    table = pl.DataFrame(
        {"step": names, "jobs": [200] * steps, "as_should": [180] + [198] * (steps - 1),
         "share": [0.9] + [0.99] * (steps - 1), "low": [0.85] + [0.96] * (steps - 1),
         "high": [0.93] + [0.998] * (steps - 1),
         **{kind: [18 if kind == "check_before_tightening" else 2] + [2 if kind == "skipped" else 0] * (steps - 1)
            for kind in KINDS}}
    )
    return Conformance(table, SETTINGS)


def per_job(by: str) -> Conformance:
    group = {"bench": ["B1", "B2"]} if by == "bench" else {"site": ["Alder", "Birch"]}
    table = pl.DataFrame(
        {**group, "jobs": [100, 50], "as_should": [90, 20], "share": [0.9, 0.4], "low": [0.8, 0.3], "high": [0.95, 0.5]}
    )
    return Conformance(table, SETTINGS | {"by": (by,), "per": "job"})


def breaches(**more: Any) -> Breaches:
    table = pl.DataFrame(
        {
            "kind": ["skipped", "check_before_tightening", "pairing", "isolated_late", "reconnected_early"],
            "jobs": [500] * 5, "breached": [20, 60, 0, 7, 3],
            "share": [0.04, 0.12, 0.0, None, None], "low": [0.03, 0.09, 0.0, None, None],
            "high": [0.06, 0.15, 0.01, None, None], "matured": [400] * 5, "returned": [40] * 5,
            "breached_matured": [18, 55, 0, 6, 2], "breached_returned": [0, 15, 0, 2, 0],
            "expected": [1.8, 5.5, 0.0, 0.6, 0.2],
            "measure": ["odds ratio, exact", "risk ratio", None, "risk ratio", None],
            "ratio": [0.0, 3.1, None, None, None], "ratio_low": [0.0, 1.8, None, 0.4, None],
            "ratio_high": [2.2, 5.2, None, None, None], "p_value": [0.4, 0.0004, None, 0.2, None],
            "p_adjusted": [0.4, 0.001, None, 0.3, None],
            "verdict": ["not distinguishable", "comes back more often", "too little work to say", "not distinguishable",
                        "too little work to say"],
        }
    )
    return Breaches(table, SETTINGS | more)


@pytest.mark.parametrize("answer", [conformance(), per_job("bench"), per_job("site"), breaches()])
@pytest.mark.parametrize("width", some_slow([400, 900], 1))
def test_pictures_compile_and_are_drawn(answer: Any, width: int) -> None:
    spec = plot(answer, width=width).to_dict()
    assert compiled(spec)["$schema"].endswith("v5.json")
    assert still(spec).startswith("<svg")
    assert "NaN" not in json.dumps(spec)
    assert "Infinity" not in json.dumps(spec)


def test_the_lowest_step_comes_first_with_what_was_amiss() -> None:
    said = plot(conformance()).to_dict()["description"]
    assert "Steps done as they should. align button: 18 before tightening, 2 missing, 2 skipped" in said
    assert said.index("align button") < said.index("open case")
    long = plot(conformance(steps=60)).to_dict()
    assert "the first 25 of 60 rows" in long["title"]["subtitle"]


def test_ratios_stand_on_a_log_scale_around_one() -> None:
    chart = plot(breaches(window=90)).to_dict()
    kinds = [
        layer["encoding"]["x"].get("scale", {}).get("type") for layer in chart["layer"] if "x" in layer["encoding"]
    ]
    assert "log" in kinds
    said = chart["description"]
    assert said.startswith("Come-backs within 90 days after a breach of the procedure.")
    assert "aligned before tightening (12.0" in said
    assert "× 3.1 more often (1.8 to 5.2, risk ratio; 15 of 55 came back)" in said
    assert "step or check skipped" in said
    assert "none of 18 (0 to 2.2" in said
    assert "battery isolated late (7 jobs): no other came back (0.4 to no limit" in said
    assert "battery connected early (3 jobs): too little work to say: 0 of 2 came back" in said
    assert "part without its pair" not in said
    one = pl.when(pl.col("kind") == "reconnected_early").then(1).otherwise("breached").alias("breached")
    alone = Breaches(breaches().table.with_columns(one), breaches().settings)
    assert "battery connected early (1 job):" in plot(alone).to_dict()["description"]


def test_nothing_to_draw_is_said() -> None:
    clean = breaches()
    none = Breaches(clean.table.with_columns(pl.lit(0).alias("breached")), clean.settings, judged=500, unjudged=1)
    said = plot(none).to_dict()["description"]
    assert ": none. No breach was met in 500 repaired jobs with a log and a procedure. Looked for: step or" in said
    assert said.endswith("and battery connected early. Of 1 other job it cannot be told.")
    assert "no data" in plot(Conformance(conformance().table.head(0), SETTINGS)).to_dict()["description"]


def test_the_battery_s_list_is_no_picture() -> None:
    with pytest.raises(RequestError, match="there is no picture of BatteryBreaches"):
        plot(BatteryBreaches(pl.DataFrame({"job_id": ["J1"]}), {}))


def test_a_count_of_each_kind_reads_as_words() -> None:
    said = plot(conformance(1)).to_dict()["description"]
    assert "2 with only the other end done" in said
    assert "2 other end" not in said
