"""Pictures of outcomes, retest passes, escapes, the coverage gap and releases: drawn offline, said in words."""

from collections.abc import Callable
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.answers.tests.coverage import CoverageGap
from rqa.answers.tests.escapes import Escapes
from rqa.answers.tests.outcomes import DiagnosticOutcomes
from rqa.answers.tests.predictive_values import PredictiveValues
from rqa.answers.tests.releases import Releases
from rqa.answers.tests.retests import RetestPasses
from rqa.plots import plot
from rqa.plots.renderer import still

BASE = {"by": ("test",), "level": 0.95, "window": 90, "where": {}, "months": None, "currency": "EUR"}
TESTS = ["touch sweep", "charge_rate"]
FITTING = 75
"""Letters of a line under the title that a picture of 400 pixels is wide: more would widen it."""


def outcomes() -> DiagnosticOutcomes:
    return DiagnosticOutcomes(pl.DataFrame({
        "test": TESTS, "jobs": [100, 3], "tests": [100, 3], "first_judged": [100, 0], "first_passed": [90, 0],
        "first_pass_share": [0.9, None], "low": [0.83, None], "high": [0.94, None], "final_passed": [99, 0],
        "final_pass_share": [0.99, 0.0], "final_low": [0.94, 0.0], "final_high": [1.0, 0.6], "aborted": [0, 3],
        "runs": [111, 3], "runs_per_job": [1.11, 1.0],
    }), BASE)


def retests() -> RetestPasses:
    return RetestPasses(pl.DataFrame({
        "test": TESTS, "runs": [111, 30], "fails": [10, 0], "retest_passes": [7, 0], "share": [0.7, None],
        "low": [0.4, None], "high": [0.89, None], "judged": [10, 0], "after_work": [2, 0], "failed_again": [1, 0],
        "not_rerun": [0, 0], "untimed": [0, 0], "elsewhere": [2, 0],
    }), BASE)


def escapes(known: bool = True) -> Escapes:
    numbers = {"sensitivity": 0.4, "low": 0.17, "high": 0.69, "lower_bound": 0.25, "upper_bound": 0.8}
    return Escapes(pl.DataFrame({
        "test": TESTS, "caught": [4 * known, 0], "escaped": [6 * known, 0],
        **{n: pl.Series([v if known else None, None], dtype=pl.Float64) for n, v in numbers.items()},
    }), BASE)


def gap(uncovered: int = 5) -> CoverageGap:
    share = uncovered / 20
    whole = pl.DataFrame({"uncovered": [uncovered], "returned": [20], "share": [share]})
    return CoverageGap(pl.DataFrame({
        "subsystem": ["case", "main_board"], "returned": [5, 15], "uncovered": [uncovered, 0], "not_run": [0, 1],
        "not_passed": [0, 0], "escaped": [5 - uncovered, 14], "share": [share, 0.0], "low": [0.1, 0.0],
        "high": [0.47, 0.16], "mean_cost": [120.0, None], "cost": [600.0, None],
    }), BASE | {"by": ("subsystem",)}, whole=whole)


def worth() -> PredictiveValues:
    return PredictiveValues(pl.DataFrame({
        "test": TESTS, "fails": [10, 0], "confirmed": [4, 0], "nothing_found": [6, 0], "undecided": [0, 0],
        "overkill": [0.6, None], "low": [0.31, None], "high": [0.83, None], "passes": [90, 3], "escaped": [9, 0],
        "pass_value": [0.9, 1.0],
    }), BASE)


def releases() -> Releases:
    return Releases(pl.DataFrame({
        "check": ["missing", "early"], "jobs": [200, 0], "flagged": [20, 0], "share": [0.1, None], "low": [0.07, None],
        "high": [0.15, None], "matured": [20, 0], "returned": [4, 0], "other_matured": [100, 0],
        "other_returned": [5, 0], "ratio": [4.0, None], "ratio_low": [1.2, None], "ratio_high": [13.6, None],
        "p_value": [0.03, None],
    }), BASE | {"by": ()})


ANSWERS: dict[str, tuple[Callable[[], Answer], str]] = {
    "outcomes": (outcomes, "touch sweep: 90.0\u00a0% first"),
    "retests": (retests, "touch sweep: 7 of 10"),
    "escapes": (escapes, "with what is not known 25.0 to 80.0\u00a0%"),
    "gap": (gap, "case: 5 of 5  ·  600 EUR"),
    "worth": (worth, "6 of 10 fails"),
    "releases": (releases, "20 of 200  ·  risk × 4.0 (1.2 to 13.6)"),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_every_picture_is_drawn_and_said(name: str) -> None:
    made, words = ANSWERS[name]
    for width in (400, 900):
        spec = plot(made(), width=width).to_dict()
        assert words in spec["description"]
    assert still(spec).startswith("<svg")
    assert max(map(len, spec["title"]["subtitle"])) <= FITTING


@pytest.mark.parametrize("made", [outcomes, retests, escapes, worth])
def test_months_stay_in_time_and_other_rows_go_by_their_share(made: Callable[[], Any]) -> None:
    full = made()
    share = next(n for n in ("first_pass_share", "sensitivity", "overkill", "share") if n in full.table.columns)
    table = pl.concat([full.table.head(1)] * 3)
    shares = [0.5, 0.9, 0.3]
    for name, by, order in (
        ("month", ("month",), [0.5, 0.9, 0.3]),
        ("test", ("test",), sorted(shares, reverse=made in (retests, worth))),
    ):
        named = table.rename({"test": name}).with_columns(
            pl.Series(name, ["2025-12", "2026-01", "2026-02"]), pl.Series(share, shares)
        )
        spec = plot(type(full)(named, {**BASE, "by": by})).to_dict()
        assert [row["value"] for row in spec["data"]["values"]] == order
        said = " ".join(spec["title"]["subtitle"])
        assert ("lowest first" in said or "highest first" in said) == (name == "test")


def test_covered_subsystems_are_named_on_lines_that_fit() -> None:
    full = gap()
    more = full.table.tail(1).select(pl.all().repeat_by(12).explode()).with_columns(
        subsystem=pl.Series([f"subsystem number {n}" for n in range(12)])
    )
    lines = plot(CoverageGap(pl.concat([full.table, more]), full.settings, whole=full.whole)).to_dict()["title"][
        "subtitle"
    ]
    assert max(map(len, lines)) <= FITTING
    assert "covered by a test: main board, subsystem number 0" in " ".join(lines)


def test_few_released_jobs_are_counted_and_given_no_ratio() -> None:
    full = releases()
    few = Releases(full.table.with_columns(matured=pl.Series([19, 0])), full.settings)
    said = plot(few).to_dict()["description"]
    assert "20 of 200  ·  4 of 19 came back" in said
    assert "risk ×" not in said
    none = Releases(full.table.with_columns(returned=pl.Series([0, 0]), ratio=pl.Series([0.0, None])), full.settings)
    assert "20 of 200  ·  0 of 20 came back" in plot(none).to_dict()["description"]


def test_what_has_no_data_says_so() -> None:
    assert "no fault known" in plot(escapes()).to_dict()["description"]
    assert "no data. No fault known" in plot(escapes(known=False)).to_dict()["description"]
    assert "no gap. Some test covers what was found in each of " in plot(gap(0)).to_dict()["description"]
    for made in (outcomes, retests, escapes, gap, worth, releases):
        full = made()
        bare: Any = type(full)(full.table.head(0), full.settings)
        assert "no data" in plot(bare).to_dict()["description"]


def test_the_lowest_share_of_faults_caught_comes_first_and_has_its_band() -> None:
    spec = plot(escapes()).to_dict()
    bands = [layer for layer in spec["layer"] if layer["mark"].get("style") == "rqa-band"]
    assert len(bands) == 1
    assert bands[0]["encoding"]["x"]["field"] == "from"
