"""Spread beyond chance: the formulas worked by loop, what winsorising does, what chance alone gives, planted spread."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats.mstats import winsorize

from rqa.stats import overdispersion

SHARE = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))[
    "proportion_against_a_standard"
]


@st.composite
def groups(draw):
    size = draw(st.integers(2, 40))
    observed = draw(st.lists(st.integers(0, 60), min_size=size, max_size=size))
    expected = draw(st.lists(st.floats(0.5, 50), min_size=size, max_size=size))
    return observed, expected


@given(groups(), st.sampled_from([0.0, 0.1, 0.25, 0.4]))
def test_equals_the_formulas_step_by_step(counts, cut):
    """Spiegelhalter 2005 (Quality and Safety in Health Care), with SciPy's winsorising by order statistics."""
    observed, expected = (np.array(a, dtype=float) for a in counts)
    r = overdispersion(observed=counts[0], expected=counts[1], winsorise=cut)
    z = [(o - e) / e**0.5 for o, e in zip(observed, expected, strict=True)]
    drawn = np.asarray(winsorize(np.array(z), limits=(cut, cut)))
    phi = sum(drawn**2) / len(z)
    weights = [e**2 / e for e in expected]
    tau2 = (len(z) * phi - (len(z) - 1)) / (sum(weights) - sum(w * w for w in weights) / sum(weights))
    assert r.z == pytest.approx(z, rel=1e-12)
    assert r.phi == pytest.approx(max(phi, 1.0), rel=1e-12)
    # 1e-6 absolute: tau is the root of a difference that may all but vanish.
    assert r.tau == pytest.approx(max(tau2, 0.0) ** 0.5, rel=1e-9, abs=1e-6)
    assert r.z_multiplicative == pytest.approx(np.array(z) / r.phi**0.5, rel=1e-12)
    errors = expected**-0.5
    assert r.z_additive == pytest.approx((observed / expected - 1) / np.sqrt(errors**2 + r.tau**2), rel=1e-9)


def test_z_of_a_share_against_a_standard():
    """26 of 200 against 10 % (data seen)."""
    events, n, p = SHARE["events"], SHARE["trials"], SHARE["share"]
    r = overdispersion(observed=[events], expected=[n * p], variance=[n * p * (1 - p)])
    assert abs(r.z[0] - SHARE["z"]) <= 0.5 * 10.0 ** -SHARE["decimals"]


def luck_alone(cut):
    """Mean square of a standard normal drawn in beyond its `cut` quantiles, integrated by parts."""
    c = norm.isf(cut)
    return 1 - 2 * cut - 2 * c * norm.pdf(c) + 2 * cut * c**2


def test_luck_alone_is_about_as_the_docstring_says():
    """20,000 groups of a large mean: winsorised squares average 0.68, and 1 without winsorising."""
    observed = np.random.default_rng(3).poisson(400, 20_000)
    z = overdispersion(observed=observed, expected=400, winsorise=0).z
    assert luck_alone(0.1) == pytest.approx(0.68, abs=0.005)
    # 0.03: three standard errors of a mean of 20,000 squares (sqrt(2 / 20,000) each).
    assert np.mean(z**2) == pytest.approx(1.0, abs=0.03)
    assert np.mean(np.asarray(winsorize(z, limits=(0.1, 0.1))) ** 2) == pytest.approx(luck_alone(0.1), abs=0.03)
    assert overdispersion(observed=observed, expected=400).phi == 1.0


def test_planted_spread_is_found():
    """True ratios with standard deviation 0.3: tau without winsorising recovers it, and z then has unit spread."""
    rng = np.random.default_rng(4)
    expected = rng.uniform(50, 400, 3_000)
    observed = rng.poisson(expected * rng.gamma(1 / 0.09, 0.09, 3_000))
    r = overdispersion(observed=observed, expected=expected, winsorise=0)
    # 0.02: three standard errors; the weighted variance of 3,000 gamma ratios is known to about 4 %.
    assert r.tau == pytest.approx(0.3, abs=0.02)
    assert np.std(r.z_additive) == pytest.approx(1.0, abs=0.06)
    assert np.mean(r.z_multiplicative**2) == pytest.approx(1.0, rel=1e-9)


def test_a_few_that_stand_out_do_not_hide_themselves():
    """Two of 30 groups at double the expectation: winsorised, the spread does not grow by them."""
    rng = np.random.default_rng(6)
    observed = rng.poisson(100, 30)
    observed[:2] = 200
    assert overdispersion(observed=observed, expected=100, winsorise=0).phi > 4
    r = overdispersion(observed=observed, expected=100)
    assert r.phi < 1.6
    assert (r.z_multiplicative[:2] > 6).all()


def test_landmarks():
    r = overdispersion(observed=[3, 5, 9], expected=[0.0, 5.0, 9.0])
    assert (r.phi, r.tau, r.groups) == (1.0, 0.0, 2)
    assert np.isnan(r.z[0])
    assert r.z.tolist()[1:] == r.z_multiplicative.tolist()[1:] == r.z_additive.tolist()[1:] == [0.0, 0.0]
    none = overdispersion(observed=[], expected=[])
    assert (none.phi, none.tau, none.groups, none.z.size) == (1.0, 0.0, 0, 0)
    one = overdispersion(observed=[9], expected=[2.0])
    assert (one.groups, one.tau) == (1, 0.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"observed": [[1, 2]], "expected": [[1, 2]]}, r"observed must be one row of groups: shape \(1, 2\)"),
        ({"winsorise": 0.5}, "winsorise must be one number from 0 to below 0.5: 0.5"),
        ({"expected": [1, np.nan]}, "expected must not be missing"),
        ({"variance": [1, -1]}, "variance must be at least 0"),
    ],
)
def test_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        overdispersion(**{"observed": [1, 2], "expected": [1, 2]} | change)
