"""The ratio of two rates: published example, tail mass, coverage, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from rqa.stats import rate_ratio

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))[
    "rate_ratio_person_time"
]
COUNTS = {name: EXAMPLE[name] for name in ("events1", "exposure1", "events2", "exposure2")}


@pytest.mark.parametrize(("method", "key"), [("exact", "exact"), ("mid-p", "mid_p")])
def test_person_time_example(method, key):
    half = 0.5 * 10.0 ** -EXAMPLE["decimals"]
    r = rate_ratio(**COUNTS, method=method)
    assert abs(r.estimate - EXAMPLE["ratio"]) <= half
    assert abs(r.low - EXAMPLE[key][0]) <= half
    assert abs(r.high - EXAMPLE[key][1]) <= half


@pytest.mark.parametrize("method", ["exact", "mid-p"])
@given(st.integers(0, 5_000), st.integers(0, 5_000), st.floats(0.1, 1e5), st.floats(0.1, 1e5), st.floats(0.5, 0.999))
def test_limits_cut_equal_tails(method, x1, x2, t1, t2, level):
    """Given the total, events of group 1 are binomial with odds ratio x exposure1 / exposure2."""
    r = rate_ratio(events1=x1, exposure1=t1, events2=x2, exposure2=t2, method=method, level=level)
    tail, half = (1 - level) / 2, 0.5 if method == "mid-p" else 0.0
    if x1:
        share = 1 / (1 + t2 / (float(r.low) * t1))
        seen = binom.sf(x1 - 1, x1 + x2, share) - half * binom.pmf(x1, x1 + x2, share)
        # 1e-6: shares near 1 have lost digits by the way to odds and back.
        assert seen == pytest.approx(tail, rel=1e-6)
    if x2:
        share = 1 / (1 + t2 / (float(r.high) * t1))
        seen = binom.cdf(x1, x1 + x2, share) - half * binom.pmf(x1, x1 + x2, share)
        assert seen == pytest.approx(tail, rel=1e-6)


def test_landmarks():
    r = rate_ratio(events1=[0, 4, 0, 3], exposure1=[10, 10, 10, 0], events2=[4, 0, 0, 3], exposure2=10)
    assert (r.estimate[0], r.low[0], r.estimate[1], r.high[1]) == (0.0, 0.0, np.inf, np.inf)
    assert 0 < r.high[0] < np.inf
    assert 0 < r.low[1] < np.inf
    assert np.isnan([r.estimate[2:], r.low[2:], r.high[2:]]).all()


def test_swapped_groups_give_the_inverse():
    a = rate_ratio(**COUNTS)
    b = rate_ratio(
        events1=COUNTS["events2"],
        exposure1=COUNTS["exposure2"],
        events2=COUNTS["events1"],
        exposure2=COUNTS["exposure1"],
    )
    assert float(a.low) == pytest.approx(1 / float(b.high), rel=1e-12)
    assert float(a.estimate) == pytest.approx(1 / float(b.estimate), rel=1e-12)


def test_coverage():
    """20,000 seeded pairs of Poisson counts: exact never below, mid-p near; a share's standard error is 0.0015."""
    rng = np.random.default_rng(5)
    x1, x2 = rng.poisson(12, 20_000), rng.poisson(5, 20_000)
    truth = (12 / 30) / (5 / 10)
    held = {}
    for method in ("exact", "mid-p"):
        r = rate_ratio(events1=x1, exposure1=30, events2=x2, exposure2=10, method=method)
        held[method] = np.mean((r.low <= truth) & (truth <= r.high))
    assert held["exact"] >= 0.95 - 3 * 0.0015
    assert 0.94 <= held["mid-p"] < held["exact"]
