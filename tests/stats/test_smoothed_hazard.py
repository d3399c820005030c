"""The chance to return by day: weights by their definition, level and sloping chances met exactly, coverage."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.stats import smoothed_hazard

TABLES = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 20)), min_size=1, max_size=30)


def by_days(rows, **more):
    returned, censored = (list(a) for a in zip(*rows, strict=True))
    return smoothed_hazard(day=range(len(rows)), returned=returned, censored=censored, **more)


@given(TABLES, st.floats(1, 12))
def test_local_line_by_least_squares(rows, bandwidth):
    """A second way: at each day, the weighted least squares line through the raw chances, read off there."""
    r = by_days(rows, bandwidth=bandwidth)
    followed = r.at_risk > 0
    days = np.arange(len(rows))[followed]
    raw, n = r.raw[followed], r.at_risk[followed]
    assert np.isnan(r.hazard[~followed]).all()
    for t in days:
        k = np.maximum(1 - ((days - t) / bandwidth) ** 2, 0)
        near = k > 0
        design = np.stack([np.ones(near.sum()), days[near] - t], axis=1)[:, : min(2, near.sum())]
        w = np.linalg.solve(design.T @ (design * k[near, np.newaxis]), (design * k[near, np.newaxis]).T)[0]
        # 1e-9: the 2 x 2 system loses digits where a far day has next to no weight.
        assert r.hazard[t] == pytest.approx(max(w @ raw[near], 0), abs=1e-9)
        assert r.se[t] == pytest.approx(np.sqrt((w**2 * raw[near] * (1 - raw[near]) / n[near]).sum()), abs=1e-7)
        assert r.jobs[t] == pytest.approx(1 / (w**2 / n[near]).sum(), rel=1e-6)


def test_boundary_kernel():
    """Far from a coarse grid the weights are the boundary kernel that textbooks print (Klein and Moeschberger 6.2).

    K_q(x) = 0.75 (1 - x^2) (a + b x) with a = 64 (2 - 4q + 6q^2 - 3q^3) / D, b = 240 (1 - q)^2 / D, D = (1 + q)^4
    (19 - 18q + 3q^2), from memory; x is (t - day) / bandwidth, q = t / bandwidth. One return on one day shows a weight.
    """
    size, bandwidth, s = 2000, 500, 100
    returned, censored = np.zeros(size, dtype=int), np.zeros(size, dtype=int)
    returned[s], censored[-1] = 1, 10**9
    r = smoothed_hazard(day=np.arange(size), returned=returned, censored=censored, bandwidth=bandwidth)
    for t in (0, 50, 250, 450, 550):
        q = min(t / bandwidth, 1)
        scale = (1 + q) ** 4 * (19 - 18 * q + 3 * q * q)
        a, b = 64 * (2 - 4 * q + 6 * q**2 - 3 * q**3) / scale, 240 * (1 - q) ** 2 / scale
        x = (t - s) / bandwidth
        expected = max(0.75 * (1 - x * x) * (a + b * x), 0) / bandwidth * r.raw[s]
        # 1 %: 500 days stand for a continuous kernel.
        assert r.hazard[t] == pytest.approx(expected, rel=0.01)


@given(st.floats(1, 15), st.integers(20, 50))
def test_level_chance_is_met_to_both_ends(bandwidth, days):
    """Half of those at risk return every day, nobody is censored: the chance is a half on each."""
    returned = [2 ** (days - 1 - t) for t in range(days)]
    r = smoothed_hazard(day=range(days), returned=returned, censored=[0] * (days - 1) + [1], bandwidth=bandwidth)
    # The last day censors what is left, so that its chance is a half too.
    assert r.raw == pytest.approx(np.full(days, 0.5), abs=1e-12)
    assert r.hazard == pytest.approx(np.full(days, 0.5), abs=1e-9)


def test_days_left_out_are_days_without_an_event():
    sparse = smoothed_hazard(day=[0, 7, 12], returned=[3, 2, 0], censored=[0, 5, 90], bandwidth=4)
    returned, censored = np.zeros(13, dtype=int), np.zeros(13, dtype=int)
    returned[[0, 7]], censored[[7, 12]] = [3, 2], [5, 90]
    dense = smoothed_hazard(day=range(13), returned=returned, censored=censored, bandwidth=4)
    assert sparse.day.tolist() == list(range(13))
    assert sparse.hazard.tolist() == dense.hazard.tolist()


def test_no_returns_nobody_and_groups():
    r = smoothed_hazard(day=[0, 9], returned=[[0, 0], [0, 0], [4, 0]], censored=[[0, 50], [0, 0], [0, 46]], bandwidth=3)
    assert r.hazard[0].tolist() == [0] * 10
    assert r.low[0].tolist() == [0] * 10
    assert (r.high[0] > 0).all()
    assert (r.high[0] < 0.1).all()
    assert np.isnan(r.hazard[1]).all()
    alone = smoothed_hazard(day=[0, 9], returned=[4, 0], censored=[0, 46], bandwidth=3)
    # Products of matrices and of vectors add up in orders of their own, which depend on the processor.
    assert r.hazard[2] == pytest.approx(alone.hazard, rel=1e-13, abs=0)


def test_bandwidth_of_one_day_is_no_smoothing():
    r = by_days([(3, 0), (1, 2), (4, 90)], bandwidth=1)
    assert r.hazard.tolist() == r.raw.tolist()
    assert r.bandwidth == 1


def test_limits_cover_the_truth():
    """6,000 invented groups of 2,000 jobs whose chance falls in a straight line, so that smoothing has no lean.

    Binomial error of a coverage of 0.95 over 6,000 groups is 0.0028: 0.94 to 0.96 leaves three of them, and limits of
    1.8 standard errors, which hold the truth in 92.8 %, would fall out.
    """
    rng = np.random.default_rng(5)
    truth = np.linspace(0.010, 0.004, 31)
    out = np.full(6_000, 2000)
    returned = np.zeros((6_000, 31), dtype=int)
    for t, chance in enumerate(truth):
        returned[:, t] = rng.binomial(out, chance)
        out = out - returned[:, t]
    censored = np.zeros_like(returned)
    censored[:, -1] = out
    r = smoothed_hazard(day=np.arange(31), returned=returned, censored=censored, bandwidth=7)
    for t in (0, 3, 15, 30):
        assert 0.94 <= ((r.low[:, t] <= truth[t]) & (truth[t] <= r.high[:, t])).mean() <= 0.96
        assert r.hazard[:, t].mean() == pytest.approx(truth[t], rel=0.02)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"bandwidth": 0.5}, r"bandwidth must be at least 1 day: 0\.5"),
        ({"bandwidth": float("nan")}, "bandwidth must be at least 0 and finite: nan"),
        ({"day": [0, 1.5], "bandwidth": 3}, "day must be whole numbers"),
        ({"day": [0, 10_001], "bandwidth": 3}, "day must be at most 10000: the largest is 10001"),
    ],
)
def test_refuses(more, message):
    with pytest.raises(ValueError, match=message):
        smoothed_hazard(**{"day": [0, 1], "returned": [1, 0], "censored": [0, 5], **more})
