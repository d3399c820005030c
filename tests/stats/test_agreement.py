"""Kappas: published values, another library, jackknife, coverage, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats import inter_rater

from rqa.stats import cohen_kappa, fleiss_kappa, proportion_interval
from tests.examples import examples
from tests.printed import as_printed

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "agreement.toml").read_text("utf-8"))
COHEN, FLEISS = PUBLISHED["cohen_three_categories"], PUBLISHED["fleiss_1971"]


def test_cohen_with_its_two_standard_errors():
    r = cohen_kappa(COHEN["table"])
    for name in ("kappa", "standard_error", "low", "high", "standard_error_null", "z"):
        assert as_printed(getattr(r, name), COHEN[name], COHEN["decimals"])


@pytest.mark.parametrize("row", PUBLISHED["cohen_two_by_two"]["rows"])
def test_cohen_two_by_two(row):
    assert as_printed(cohen_kappa(row["table"]).kappa, row["kappa"], PUBLISHED["cohen_two_by_two"]["decimals"])


tables = st.integers(2, 4).flatmap(
    lambda k: st.lists(st.lists(st.integers(1, 40), min_size=k, max_size=k), min_size=k, max_size=k)
)


@settings(max_examples=examples(40), deadline=None)
@given(tables, st.sampled_from(["none", "linear", "quadratic"]))
def test_cohen_equals_another_library(table, weights):
    other = inter_rater.cohens_kappa(np.array(table), wt=None if weights == "none" else weights)
    r = cohen_kappa(table, weights=weights)
    assert r.kappa == pytest.approx(other.kappa, rel=1e-9, abs=1e-12)
    assert r.standard_error == pytest.approx(np.sqrt(other.var_kappa), rel=1e-7)
    assert r.standard_error_null == pytest.approx(np.sqrt(other.var_kappa0), rel=1e-7)


def test_cohen_ends():
    full = cohen_kappa([[20, 0], [0, 10]])
    assert (full.kappa, full.high) == (1, 1)
    low = float(proportion_interval(successes=30, trials=30).low)
    assert full.low == pytest.approx((low - 5 / 9) / (4 / 9))
    for none in ([[0, 0], [0, 0]], [[30, 0], [0, 0]]):
        assert np.isnan(cohen_kappa(none).kappa)
    never = cohen_kappa([[0, 10], [10, 0]])
    assert never.kappa == -1
    assert never.low == -1
    # None of 20 agree: Wilson's high end of that share, as kappa.
    assert never.high == pytest.approx((float(proportion_interval(successes=0, trials=20).high) - 0.5) / 0.5)
    for wrong in ([[1, 2]], [[3]], [1, 2]):
        with pytest.raises(ValueError, match="as many rows as columns"):
            cohen_kappa(wrong)


def fleiss_table():
    return np.array([np.bincount(row, minlength=6)[1:] for row in FLEISS["diagnoses"]])


def test_fleiss_1971_with_the_later_standard_error():
    table = fleiss_table()
    assert (table.sum(axis=1) == FLEISS["raters"]).all()
    r = fleiss_kappa(table)
    assert as_printed(r.kappa, FLEISS["kappa"], 7)
    assert as_printed(r.observed, FLEISS["observed"], 4)
    assert as_printed(r.expected, FLEISS["chance"], 4)
    assert as_printed(r.category_kappa, FLEISS["categories"], 3)
    assert as_printed(r.standard_error_null, FLEISS["standard_error_null"], 7)
    assert as_printed(r.z, FLEISS["z"], 3)


def test_fleiss_standard_error_is_near_the_jackknife():
    """Both estimate one thing; for 30 units they lie within 5 % of each other."""
    table = fleiss_table()
    left_out = np.array([fleiss_kappa(np.delete(table, i, axis=0)).kappa for i in range(30)])
    jackknife = np.sqrt(29 / 30 * ((left_out - left_out.mean()) ** 2).sum())
    assert fleiss_kappa(table).standard_error == pytest.approx(jackknife, rel=0.05)


@settings(max_examples=examples(30), deadline=None)
@given(st.lists(st.lists(st.integers(0, 2), min_size=4, max_size=4), min_size=3, max_size=20))
def test_fleiss_equals_another_library(rows):
    table = np.array([np.bincount(row, minlength=3) for row in rows])
    if (table.sum(axis=0) > 0).sum() < 2:
        assert np.isnan(fleiss_kappa(table).kappa)
    else:
        assert fleiss_kappa(table).kappa == pytest.approx(inter_rater.fleiss_kappa(table), abs=1e-12)


def test_fleiss_limits_hold_the_truth_as_often_as_promised():
    """Units are good (60 %) or bad, each of 3 runs errs with 15 %.

    Share of fails q = 0.6 x 0.15 + 0.4 x 0.85 = 0.43; covariance of two runs = 0.24 x 0.7^2. 400 studies of 60 units:
    4 standard errors are 4.4 %, and t limits of a mean of skewed pulls lean a little.
    """
    kappa = 0.24 * 0.7**2 / (0.43 * 0.57)
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(400):
        bad = rng.random(60) < 0.4
        fails = rng.binomial(3, np.where(bad, 0.85, 0.15))
        r = fleiss_kappa(np.stack([fails, 3 - fails], axis=1))
        held += r.low <= kappa <= r.high
    assert held / 400 == pytest.approx(0.95, abs=0.045)


def test_fleiss_ends():
    full = fleiss_kappa([[3, 0], [0, 3], [3, 0]])
    assert (full.kappa, full.high) == (1, 1)
    assert full.low < 0.5
    unequal = fleiss_kappa([[2, 0], [0, 3], [1, 1], [1, 0], [0, 0]])
    assert unequal.units == 3
    assert np.isnan(unequal.z)
    assert np.isfinite([unequal.kappa, unequal.low, unequal.high]).all()
    assert np.isnan(fleiss_kappa([[1, 0]]).kappa)
    assert np.isnan(fleiss_kappa([[2, 1, 0], [1, 2, 0]]).category_kappa[2])
    one = fleiss_kappa([[2, 1]])
    assert (one.low, one.high) == (-1, 1)
    with pytest.raises(ValueError, match="units x verdicts"):
        fleiss_kappa([1, 2])
