"""Two groups on one day: the defining equations, landmarks, uncensored groups as shares, coverage."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.stats import cumulative_incidence, incidence_contrast, kaplan_meier


def curve(returned, jobs, **more):
    return kaplan_meier(day=[10, 30], returned=[returned, 0], censored=[0, jobs - returned], **more)


@st.composite
def shares(draw):
    jobs = draw(st.integers(1, 500))
    return draw(st.integers(0, jobs)), jobs


@given(shares(), shares())
def test_defining_equations(first, second):
    one, two = curve(*first), curve(*second)
    r = incidence_contrast(one=one, two=two, day=30)
    (s1,), (l1,), (u1,) = (getattr(one.on_days(30), name) for name in ("share", "low", "high"))
    (s2,), (l2,), (u2,) = (getattr(two.on_days(30), name) for name in ("share", "low", "high"))
    # 1e-12: a handful of operations on numbers below 1.
    assert (r.difference - r.difference_low) ** 2 == pytest.approx((s1 - l1) ** 2 + (u2 - s2) ** 2, abs=1e-12)
    assert (r.difference_high - r.difference) ** 2 == pytest.approx((u1 - s1) ** 2 + (s2 - l2) ** 2, abs=1e-12)
    # The limit of s1 - r s2 for this r is 0: distance to the near limits of both, joined as a root of squares.
    low, high = float(r.ratio_low), float(r.ratio_high)
    assert (s1 - low * s2) ** 2 == pytest.approx((s1 - l1) ** 2 + low**2 * (u2 - s2) ** 2, abs=1e-9)
    if np.isfinite(high):
        assert (s1 - high * s2) ** 2 == pytest.approx((u1 - s1) ** 2 + high**2 * (s2 - l2) ** 2, rel=1e-6, abs=1e-9)
    if s2 > 0:
        assert low <= r.ratio <= high


@given(shares(), shares())
def test_swapped_groups(first, second):
    r = incidence_contrast(one=curve(*first), two=curve(*second), day=30)
    s = incidence_contrast(one=curve(*second), two=curve(*first), day=30)
    assert (s.difference_low, s.difference_high) == pytest.approx((-r.difference_high, -r.difference_low), abs=1e-15)
    with np.errstate(divide="ignore"):
        assert (s.ratio_low, s.ratio_high) == pytest.approx((1 / r.ratio_high, 1 / r.ratio_low), rel=1e-9)


def test_landmarks():
    none, some, unknown = curve(0, 40), curve(8, 40), kaplan_meier(day=[10], returned=[1], censored=[39])
    r = incidence_contrast(one=none, two=none, day=30)
    assert r.difference_low < 0 == r.difference < r.difference_high
    assert np.isnan(r.ratio)
    assert (r.ratio_low, r.ratio_high) == (0, np.inf)
    r = incidence_contrast(one=some, two=none, day=30)
    assert r.ratio == r.ratio_high == np.inf
    assert 1 < r.ratio_low < np.inf
    r = incidence_contrast(one=none, two=some, day=30)
    assert r.ratio == r.ratio_low == 0
    assert 0 < r.ratio_high < 1
    r = incidence_contrast(one=some, two=unknown, day=30)
    for name in ("difference", "difference_low", "difference_high", "ratio", "ratio_low", "ratio_high"):
        assert np.isnan(getattr(r, name))


def test_groups_and_causes():
    returned = [[[2, 1], [1, 3]], [[4, 0], [0, 2]]]
    one = cumulative_incidence(day=[5, 20], returned=returned, censored=[[1, 92], [0, 50]])
    two = cumulative_incidence(day=[8, 20], returned=returned[::-1], censored=[[1, 60], [0, 70]])
    r = incidence_contrast(one=one, two=two, day=20)
    assert r.difference.shape == (2, 2)
    assert r.difference.tolist() == (one.share[:, -1] - two.share[:, -1]).tolist()


@pytest.mark.parametrize("hazards", [(0.004, 0.002), (0.003, 0.003)])
def test_limits_cover_the_truth(hazards):
    """1,000 invented pairs of 200 jobs followed 0 to 60 days: difference and ratio by day 30.

    Binomial error of a coverage of 0.95 over 1,000 pairs is 0.0069; limits recovered from two others may be a little
    wide, so 0.93 to 0.98.
    """
    rng = np.random.default_rng(11)
    curves = []
    for hazard in hazards:
        back, followed = rng.geometric(hazard, (1000, 200)), rng.integers(0, 61, (1000, 200))
        came = back <= followed
        cells = np.arange(1000)[:, np.newaxis] * 61 + np.minimum(back, followed)
        returned, censored = (np.bincount(cells[at], minlength=61_000).reshape(1000, 61) for at in (came, ~came))
        curves.append(kaplan_meier(day=np.arange(61), returned=returned, censored=censored))
    r = incidence_contrast(one=curves[0], two=curves[1], day=30)
    s1, s2 = (1 - (1 - hazard) ** 30 for hazard in hazards)
    assert 0.93 <= ((r.difference_low <= s1 - s2) & (s1 - s2 <= r.difference_high)).mean() <= 0.98
    assert 0.93 <= ((r.ratio_low <= s1 / s2) & (s1 / s2 <= r.ratio_high)).mean() <= 0.98


def test_refuses():
    one = curve(1, 10)
    other = cumulative_incidence(day=[10], returned=[[1]], censored=[9])
    with pytest.raises(ValueError, match="curves of one kind: KaplanMeier and CumulativeIncidence"):
        incidence_contrast(one=one, two=other, day=10)
    with pytest.raises(ValueError, match=r"limits of one level: 0\.95 and 0\.9"):
        incidence_contrast(one=one, two=curve(1, 10, level=0.9), day=10)
