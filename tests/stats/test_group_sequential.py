"""Bounds for repeated looks: printed values, the exact distribution of few looks, simulation of many."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from rqa.stats import spending_bounds
from tests.printed import as_printed

PRINTED = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text(encoding="utf-8"))


def test_five_equal_looks_as_printed():
    printed = PRINTED["looks_spending"]
    r = spending_bounds(information=np.arange(1, 6), planned=5)
    assert as_printed(r.bound, printed["bound"], printed["decimals"])


def test_three_looks_by_the_multivariate_normal_distribution():
    """The second way: the chance to stay within all bounds, from the joint distribution of the three scores (scipy)."""
    info = np.array([2.0, 3.0, 7.0])
    r = spending_bounds(information=info, planned=7.0)
    correlation = np.sqrt(np.minimum.outer(info, info) / np.maximum.outer(info, info))
    joint = stats.multivariate_normal(np.zeros(3), correlation)
    within = joint.cdf(r.bound, lower_limit=-r.bound, rng=np.random.default_rng(0))
    # scipy integrates to about 1e-5.
    assert within == pytest.approx(0.95, abs=5e-5)


def test_one_look_is_the_usual_test():
    assert spending_bounds(information=[3.0], planned=3.0).bound[0] == pytest.approx(stats.norm.ppf(0.975), abs=1e-8)
    assert spending_bounds(information=[3.0], planned=3.0, level=0.9).bound[0] == pytest.approx(1.644854, abs=1e-6)


@pytest.mark.parametrize(("info", "planned"), [(np.arange(1, 13) ** 1.3, 25.0), ([0.02, 0.4, 0.41, 0.9, 1.7], 1.0)])
def test_no_change_passes_as_seldom_as_promised(info, planned):
    rng = np.random.default_rng(11)
    steps = np.sqrt(np.diff(np.concatenate([[0.0], info])))
    scores = (rng.standard_normal((100_000, len(info))) * steps).cumsum(axis=1) / np.sqrt(info)
    r = spending_bounds(information=info, planned=planned)
    share = (np.abs(scores) > r.bound).any(axis=1).mean()
    # 3 standard errors of 100,000 runs at 5 %.
    assert share == pytest.approx(0.05, abs=0.0021)


def test_early_looks_and_looks_after_the_end_say_nothing():
    r = spending_bounds(information=[0.01, 0.5, 1.0, 1.5])
    assert np.isinf(r.bound[[0, 3]]).all()
    assert r.spent[2] == pytest.approx(0.05, abs=1e-12)


@pytest.mark.parametrize("info", [[1.0, 1.0], [2.0, 1.0], [0.0, 1.0], [1.0, np.nan]])
def test_information_must_rise(info):
    with pytest.raises(ValueError, match="information"):
        spending_bounds(information=info)
