"""Agreement through the depot: published studies give the printed figures; gaps are named; runs done again."""

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from rqa.depot import Depot
from rqa.errors import RequestError
from tests.depots import depot_of
from tests.printed import as_printed

PUBLISHED = tomllib.loads((Path(__file__).parents[3] / "shared" / "agreement.toml").read_text("utf-8"))
GAUGE, RANGES, FLEISS = PUBLISHED["gauge"], PUBLISHED["gauge_by_range"], PUBLISHED["fleiss_1971"]
COHEN = PUBLISHED["cohen_three_categories"]
AT = datetime(2026, 3, 2, 9)


def gauge_rows(study: str = "manual", test: str | None = "charge rate") -> list[dict[str, Any]]:
    """The study of the manual: 10 parts, 3 appraisers, 3 trials."""
    return [
        {"study": study, "unit": f"P{p:02d}", "appraiser": who, "trial": t, "value": value, "test": test}
        for who in "ABC"
        for p, trials in enumerate(GAUGE[who], start=1)
        for t, value in enumerate(trials, start=1)
    ]


def judged(study: str, who: str, verdicts: list[Any], **more: Any) -> list[dict[str, Any]]:
    return [
        {"study": study, "unit": f"U{i:02d}", "appraiser": who, "trial": 1, "outcome": str(v), **more}
        for i, v in enumerate(verdicts)
    ]


@contextmanager
def with_studies(rows: list[dict[str, Any]], **tables: Any) -> Iterator[Depot]:
    with depot_of({"studies": rows, **tables}) as depot:
        yield depot


def sigma(table: pl.DataFrame, method: str) -> Mapping[str, float]:
    own = table.filter(pl.col("method") == method)
    return dict(zip(own["figure"], own["value"], strict=True))


def test_the_manuals_study_gives_the_printed_figures() -> None:
    with with_studies(gauge_rows()) as depot:
        r = depot.tests.agreement()
    anova, ranges = sigma(r.table, "anova"), sigma(r.table, "range")
    for name, printed in GAUGE["sigma_recomputed"].items():
        assert as_printed(anova[name], printed, 6)
    # The manual's factors are rounded to four decimals: the results differ by less than 1 in 4,000.
    for name, printed in RANGES["sigma"].items():
        assert ranges[name] == pytest.approx(printed, rel=2.5e-4)
    row = r.studies.row(0, named=True)
    # 4.86 categories are cut off to 4, not rounded to 5.
    assert row["categories"] == GAUGE["categories"] == 4
    assert round(row["category_ratio"], 2) == 4.86
    assert row["pooled"]
    assert any("4 categories" in note for note in r.notes)
    assert row["of_tolerance"] is None
    assert [f.kind for f in r.stated] == ["appraisers differ"]
    assert r.stated[0].p_value == pytest.approx(row["appraiser_p"], rel=1e-5)


def test_the_copy_with_wrong_data_is_told_apart() -> None:
    """One copy in circulation has 0.75 for -0.15 at part 1, appraiser C, trial 3: its figures are others."""
    rows = gauge_rows()
    wrong = next(r for r in rows if (r["unit"], r["appraiser"], r["trial"]) == ("P01", "C", 3))
    assert wrong["value"] == -0.15
    with with_studies([r if r is not wrong else {**r, "value": 0.75} for r in rows]) as depot:
        found = sigma(depot.tests.agreement().table, "anova")
    assert not as_printed(found["repeatability"], GAUGE["sigma_recomputed"]["repeatability"], 3)


def test_the_gauge_is_held_against_the_limits_of_its_test_and_draws_the_guard_band() -> None:
    runs = [
        {"job_id": f"J{i}", "test": "charge rate", "run_at": AT, "value": 0.1 * i, "unit": "A", "lower_limit": -4.0,
         "upper_limit": 4.0, "station": "S1"}
        for i in range(12)
    ]
    with with_studies(gauge_rows(), diagnostics=runs) as depot:
        r, read = depot.tests.agreement(), depot.tests.readings().table.row(0, named=True)
    gauge = sigma(r.table, "anova")["gauge"]
    assert r.studies["of_tolerance"][0] == pytest.approx(6 * gauge / 8, abs=1e-6)
    assert r.studies["verdict"][0] == "fit for some uses"
    assert f"the gauge in all {gauge:.3g}\u00a0A" in r.stated[0].what
    assert read["gauge_sigma"] == pytest.approx(gauge, abs=1e-6)
    # 1.645 sigma for a risk of 5 %.
    assert read["guard_upper"] == pytest.approx(4 - 1.644854 * gauge, abs=1e-5)


def test_many_judges_give_the_printed_kappa() -> None:
    rows = [
        row
        for j in range(FLEISS["raters"])
        for row in judged("wards", f"R{j}", [case[j] for case in FLEISS["diagnoses"]])
    ]
    with with_studies(rows) as depot:
        table = depot.tests.agreement().table
    whole = table.row(0, named=True)
    assert whole["figure"] == "all appraisers"
    assert as_printed(whole["value"], FLEISS["kappa"], 6)
    assert as_printed(whole["share"], FLEISS["observed"], 4)
    assert whole["low"] < whole["value"] < whole["high"]
    assert table.filter(pl.col("method") == "Cohen").height == 15


def test_two_judges_and_a_reference_give_the_printed_kappa() -> None:
    pairs = [(i, k) for i, row in enumerate(COHEN["table"]) for k, n in enumerate(row) for _ in range(n)]
    rows = judged("pair", "A", [a for a, _ in pairs])
    for row, (_, truth) in zip(rows, pairs, strict=True):
        row["reference"] = str(truth)
    with with_studies(rows) as depot:
        found = depot.tests.agreement().table.row(0, named=True)
    assert found["figure"] == "A with the reference"
    for name, printed in (("value", "kappa"), ("low", "low"), ("high", "high")):
        assert as_printed(found[name], COHEN[printed], 4)


def test_faulty_units_passed_are_counted_against_the_reference() -> None:
    said, truth = ["pass", "pass", "fail", "pass"], ["pass", "fail", "fail", "fail"]
    rows = judged("gate", "A", said)
    for row, true in zip(rows, truth, strict=True):
        row["reference"] = true
    again = [{**row, "trial": 2} for row in rows]
    with with_studies([*rows, *again]) as depot:
        table = depot.tests.agreement("gate").table
    lines = {r["figure"]: r for r in table.iter_rows(named=True)}
    assert (lines["A passes faulty"]["value"], lines["A passes faulty"]["cases"]) == (pytest.approx(2 / 3, abs=1e-6), 3)
    assert (lines["A fails good"]["value"], lines["A fails good"]["cases"]) == (0, 1)
    assert lines["A with itself"]["value"] == 1


def test_a_bias_is_read_off_a_numeric_reference() -> None:
    rows = [
        {"study": "s", "unit": f"U{u}", "appraiser": "A", "trial": t, "value": u + 0.5 + 0.1 * u, "reference": str(u)}
        for u in range(5) for t in (1, 2)
    ]
    with with_studies(rows) as depot:
        table = depot.tests.agreement().table
    bias = table.filter(pl.col("figure") == "bias of A").row(0, named=True)
    assert bias["value"] == pytest.approx(0.7)
    # Student's t of 4 degrees times 0.1 x sqrt(2.5) / sqrt(5): deviations of the units' distances.
    assert bias["high"] - bias["value"] == pytest.approx(2.776445 * 0.1 * 2.5**0.5 / 5**0.5, abs=1e-5)


def test_incomplete_units_are_left_out_and_named() -> None:
    rows = [r for r in gauge_rows() if (r["unit"], r["appraiser"], r["trial"]) != ("P04", "B", 2)]
    with with_studies(rows) as depot:
        r = depot.tests.agreement()
    row = r.studies.row(0, named=True)
    assert (row["units"], row["left_out"], row["refused"]) == (10, 1, "")
    assert row["missing"] == "unit P04 by B has 2 of 3 trials"
    assert r.table["cases"].unique().to_list() == [9]


@pytest.mark.parametrize(
    ("keep", "why"),
    [
        (lambda r: r["trial"] == 1, "a second trial is needed"),
        (lambda r: r["unit"] == "P01", "One unit only"),
        (lambda r: not (r["appraiser"] == "B" and r["trial"] == 3), "unit P01 by B has 2 of 3 trials"),
    ],
)
def test_a_study_that_cannot_say_is_refused_with_what_is_missing(keep: Any, why: str) -> None:
    with with_studies([r for r in gauge_rows() if keep(r)]) as depot:
        r = depot.tests.agreement()
        assert depot.tests.readings().table.height == 0
    assert why in r.studies["refused"][0]
    assert r.table.height == 0
    assert any(why in note for note in r.notes)


def test_no_study_and_an_unknown_one() -> None:
    with with_studies([]) as depot:
        r = depot.tests.agreement()
        assert (r.table.height, r.studies.height, r.runs.height) == (0, 0, 0)
        assert any("No planned study" in note for note in r.notes)
        with pytest.raises(RequestError, match=r"there is no study 'x' in the store. There is: none"):
            depot.tests.agreement("x")


def test_a_question_that_no_study_answers_says_which_there_are() -> None:
    with with_studies(gauge_rows(), diagnostics=[{"job_id": "J1", "test": "other", "run_at": AT}]) as depot:
        said = depot.tests.agreement(test="other").notes
    assert any("None of the studies in the store (manual) has a value or an outcome" in note for note in said)
    with with_studies([{**row, "value": None} for row in gauge_rows()]) as depot:
        assert any("None of the studies in the store (manual)" in note for note in depot.tests.agreement().notes)


def test_runs_done_again_are_set_beside_each_other() -> None:
    """Two failed and passed again elsewhere; one failed and passed after work, which does not count."""

    def run(job: str, number: int, outcome: str, station: str, value: float) -> dict[str, Any]:
        return {"job_id": job, "test": "charge", "run": number, "outcome": outcome, "station": station,
                "run_at": AT + timedelta(hours=number), "value": value, "unit": "A"}

    runs = [
        run("J1", 1, "fail", "S1", 2.4), run("J1", 2, "pass", "S2", 2.0),
        run("J2", 1, "fail", "S1", 2.6), run("J2", 2, "pass", "S2", 2.0),
        run("J3", 1, "fail", "S1", 2.6), run("J3", 2, "pass", "S1", 2.0),
    ]
    work = [{"job_id": "J3", "step": "x", "started_at": AT + timedelta(hours=1.5), "ended_at": AT + timedelta(hours=2)}]
    nowhere = [run("J4", 1, "fail", "S1", 2.4), run("J4", 2, "pass", "S1", 2.0)]
    for one in nowhere:
        one["station"] = None
    with with_studies([], diagnostics=runs + nowhere, steps=work) as depot:
        r = depot.tests.agreement()
    row = r.runs.row(0, named=True)
    assert r.runs.select("stations", "pairs").rows() == [("another station", 2), ("station not known", 1)]
    assert (row["stations"], row["pairs"], row["agreed"], row["fail_pass"]) == ("another station", 2, 0, 2)
    assert row["change"] == pytest.approx(-0.5)
    assert row["sigma"] == pytest.approx(((0.16 + 0.36) / 4) ** 0.5, abs=1e-6)
    assert row["kappa"] is None
    assert any("no fair sample" in note for note in r.notes)
