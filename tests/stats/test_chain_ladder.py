"""Cohorts still to grow: a published triangle, by hand, landmarks, coverage."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rqa.stats import chain_ladder

TRIANGLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))["chain_ladder"]


def padded(rows):
    width = max(len(row) for row in rows)
    return [[*row, *[np.nan] * (width - len(row))] for row in rows]


def test_taylor_and_ashe():
    """Mack 1993 (seen): factors to 4 decimals, amounts to the unit."""
    r = chain_ladder(cumulative=padded(TRIANGLE["rows"]))
    assert np.abs(r.factors - TRIANGLE["factors"]).max() <= 0.5e-4
    assert np.abs(r.to_come - TRIANGLE["to_come"]).max() <= 0.5
    assert np.abs(r.se - TRIANGLE["se"]).max() <= 0.5
    assert abs(r.total_to_come - TRIANGLE["total_to_come"]) <= 0.5
    assert abs(r.total_se - TRIANGLE["total_se"]) <= 0.5


def test_by_hand():
    """Factors 38/22 and 20/18; the youngest cohort grows from 8 to 8 x 38/22 x 20/18."""
    r = chain_ladder(cumulative=padded([[10, 18, 20], [12, 20], [8]]))
    assert r.factors == pytest.approx([38 / 22, 20 / 18])
    assert r.ultimate == pytest.approx([20, 20 * 20 / 18, 8 * 38 / 22 * 20 / 18])
    assert r.to_come.tolist() == pytest.approx((r.ultimate - [20, 20, 8]).tolist())
    assert r.se[0] == 0
    assert (r.low <= r.to_come).all()
    assert (r.to_come <= r.high).all()


def test_complete_and_empty_cohorts():
    done = chain_ladder(cumulative=[[1, 2], [3, 3]])
    assert done.to_come.tolist() == done.se.tolist() == [0, 0]
    assert (done.total_to_come, done.total_se) == (0, 0)
    none = chain_ladder(cumulative=padded([[0, 2, 3], [0, 1], [0]]))
    assert np.isnan(none.factors[0])
    assert np.isnan([none.to_come[2], none.high[2]]).all()
    assert none.to_come[1] == pytest.approx(0.5)


def test_limits_cover_what_came():
    """400 invented triangles of 12 cohorts with Poisson growth: the youngest three cohorts' rest held by its limits.

    Three binomial errors of 0.95 over 400 are 0.033; growth of a few counts is not log-normal, so 0.90 to 0.98.
    """
    rng = np.random.default_rng(3)
    means = 400 * np.diff([0, 0.4, 0.7, 0.85, 0.93, 0.97, 1.0])
    held = []
    for _ in range(400):
        whole = rng.poisson(means, (12, 6)).cumsum(axis=1).astype(float)
        seen = whole.copy()
        for i in range(12):
            seen[i, 12 - i :] = np.nan
        r = chain_ladder(cumulative=seen)
        rest = whole[:, -1] - np.array([whole[i, min(11 - i, 5)] for i in range(12)])
        held.append(((r.low <= rest) & (rest <= r.high))[8:11])
    assert 0.90 <= np.mean(held) <= 0.98


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([[1], [2]], r"at least two ages as columns: shape \(2, 1\)"),
        ([1, 2], r"shape \(2,\)"),
        ([[1, -2]], "must be at least 0"),
        ([[1, np.nan], [1, 2]], r"must be a triangle.*known ages by row are \[1, 2\]"),
        ([[1, 2, 3], [1, np.nan, 3]], "must be a triangle"),
        ([[1, 2], [np.nan, np.nan]], "must be a triangle"),
    ],
)
def test_refuses(rows, message):
    with pytest.raises(ValueError, match=message):
        chain_ladder(cumulative=rows)
