"""Benjamini and Hochberg: their example, the step-up rule by loop, missing values, the promise."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from rqa.stats import benjamini_hochberg

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))[
    "false_discoveries"
]
SIDES = (1 - 1e-12, 1 + 1e-12)


def test_fifteen_p_values():
    """The paper's example (p-values and number found seen)."""
    r = benjamini_hochberg(p_values=EXAMPLE["p_values"])
    assert np.abs(r.p_adjusted - EXAMPLE["p_adjusted"]).max() <= 0.5 * 10.0 ** -EXAMPLE["decimals"]
    assert (int(r.found.sum()), r.compared) == (EXAMPLE["found"], 15)
    assert sum(p <= 0.05 / 15 for p in EXAMPLE["p_values"]) == EXAMPLE["bonferroni"]


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.floats(0.01, 0.5))
def test_step_up_rule(p_values, allowed):
    """Found are the k smallest, k the largest place with p_(k) <= k allowed / m; statsmodels adjusts alike."""
    r = benjamini_hochberg(p_values=p_values, allowed=allowed)
    ordered, m = sorted(p_values), len(p_values)
    # 1e-12: a tie with `allowed` may fall to either side by rounding.
    k = [max((i for i in range(1, m + 1) if ordered[i - 1] * m / i <= allowed * way), default=0) for way in SIDES]
    assert k[0] <= r.found.sum() <= k[1]
    assert r.p_adjusted == pytest.approx(multipletests(p_values, method="fdr_bh")[1], rel=1e-12, abs=1e-300)


def test_what_could_not_be_compared_does_not_count():
    r = benjamini_hochberg(p_values=[[0.01, np.nan], [0.04, np.nan]])
    assert r.compared == 2
    assert r.p_adjusted[:, 0].tolist() == [0.02, 0.04]
    assert np.isnan(r.p_adjusted[:, 1]).all()
    assert r.found.tolist() == [[True, False], [True, False]]
    for nothing in ([], [np.nan]):
        assert not benjamini_hochberg(p_values=nothing).found.any()
    assert float(benjamini_hochberg(p_values=0.03).p_adjusted) == 0.03


@pytest.mark.slow
def test_the_promise():
    """2,000 seeded months of 20 comparisons, 15 of them null: the false share of those found is at most 5 %."""
    rng = np.random.default_rng(11)
    p = rng.uniform(size=(2_000, 20))
    p[:, 15:] = rng.beta(0.1, 6, size=(2_000, 5))
    shares, any_found = [], []
    for month in p:
        found = benjamini_hochberg(p_values=month).found
        shares.append(found[:15].sum() / max(found.sum(), 1))
        any_found.append(benjamini_hochberg(p_values=month[:15]).found.any())
    # 0.015: three standard errors of 2,000 months.
    assert np.mean(shares) <= 0.05 + 0.015
    assert np.mean(any_found) <= 0.05 + 0.015


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"p_values": [0.1, 1.5]}, r"p_values must be between 0 and 1: p_values\[1\] = 1.5"),
        ({"allowed": 5}, "allowed must be one number between 0 and 1"),
    ],
)
def test_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        benjamini_hochberg(**{"p_values": [0.1]} | change)
