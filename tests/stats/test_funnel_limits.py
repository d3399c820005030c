"""Funnel limits: the formula worked term by term, published values, share outside, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from rqa.stats import funnel_limits

FUNNEL = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))["funnel"]


def by_loop(n, centre, q):
    """Spiegelhalter 2005: r the smallest count with F(r) >= q, then r - (F(r) - q) / (F(r) - F(r - 1)), over n."""
    r = next(r for r in range(n + 1) if binom.cdf(r, n, centre) >= q)
    a = (binom.cdf(r, n, centre) - q) / (binom.cdf(r, n, centre) - binom.cdf(r - 1, n, centre))
    return min(max((r - a) / n, 0.0), 1.0)


@pytest.mark.parametrize("row", FUNNEL["rows"], ids=lambda r: str(r["trials"]))
def test_recomputed_values(row):
    r = funnel_limits(trials=row["trials"], centre=FUNNEL["centre"], level=FUNNEL["level"])
    assert abs(r.high - row["high"]) <= 0.5 * 10.0 ** -FUNNEL["decimals"]


@given(st.integers(1, 300), st.floats(0.001, 0.999), st.sampled_from([0.95, 0.998]))
def test_equals_the_formula(n, centre, level):
    r = funnel_limits(trials=n, centre=centre, level=level)
    tail = (1 - level) / 2
    # 1e-6: where two steps of the distribution function differ by little, the loop's a loses digits.
    assert float(r.low) == pytest.approx(by_loop(n, centre, tail), abs=1e-6)
    assert float(r.high) == pytest.approx(by_loop(n, centre, 1 - tail), abs=1e-6)
    assert 0 <= r.low <= r.high <= 1


def test_mirrored_centre_gives_the_mirrored_limits_less_one_job():
    """The rule steps down from r at both ends; what its docstring says of the upper limit."""
    n = np.array([20, 70, 400])
    r, mirror = funnel_limits(trials=n, centre=0.2), funnel_limits(trials=n, centre=0.8)
    assert 1 - mirror.high == pytest.approx(r.low + 1 / n, rel=1e-9)
    assert 1 - mirror.low == pytest.approx(r.high + 1 / n, rel=1e-9)


@pytest.mark.parametrize(("level", "most"), [(0.95, 0.06), (0.998, 0.0035)])
def test_share_outside_by_luck(level, most):
    """Exact chance of lying strictly outside, averaged over amounts of work: about what the level leaves."""
    outside = []
    for n in range(30, 400, 7):
        r = funnel_limits(trials=n, centre=0.08, level=level)
        x = np.arange(n + 1)
        beyond = (x / n < r.low) | (x / n > r.high)
        outside.append(binom.pmf(x, n, 0.08)[beyond].sum())
    assert (1 - level) / 3 <= np.mean(outside) <= most


def test_landmarks():
    r = funnel_limits(trials=[10, 10, 0, 1], centre=[0.0, 1.0, 0.5, 0.5])
    assert r.low[:2].tolist() == r.high[:2].tolist() == [0.0, 1.0]
    assert np.isnan([r.low[2], r.high[2]]).all()
    assert 0 <= r.low[3] <= r.high[3] <= 1


def test_very_much_work():
    """A billion jobs: the normal limits, to the eight digits that the skewness of the binomial leaves."""
    r = funnel_limits(trials=10**9, centre=0.1)
    assert float(r.high) == pytest.approx(0.1 + 1.959964 * (0.09 / 1e9) ** 0.5, abs=2e-9)
    assert float(r.low) == pytest.approx(0.1 - 1.959964 * (0.09 / 1e9) ** 0.5, abs=2e-9)


def test_dispersion_draws_the_limits_apart():
    plain = funnel_limits(trials=200, centre=0.1)
    wide = funnel_limits(trials=200, centre=0.1, dispersion=4)
    assert float(wide.high - 0.1) == pytest.approx(2 * float(plain.high - 0.1), rel=1e-13)
    assert float(wide.low) == pytest.approx(max(0.1 - 2 * float(0.1 - plain.low), 0), abs=1e-15)


def test_five_thousand_groups():
    n = np.random.default_rng(1).integers(1, 3_000, 5_000)
    r = funnel_limits(trials=n, centre=0.07, level=0.998)
    assert ((r.low <= 0.07) & (r.high >= 0.07)).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"centre": 1.2}, "centre must be between 0 and 1"),
        ({"trials": -1}, "trials must be at least 0"),
        ({"dispersion": 0.5}, "dispersion must be at least 1 and finite: 0.5"),
        ({"level": 95}, "level must be one number between 0 and 1"),
        ({"trials": [1, 2], "centre": [0.1, 0.2, 0.3]}, r"trials \(2,\), centre \(3,\)"),
    ],
)
def test_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        funnel_limits(**{"trials": 10, "centre": 0.1} | change)
