"""Orders that turn round: every pair by loop, published reversal elsewhere, what chance alone makes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.stats import order_reversals

rows = st.integers(0, 12).flatmap(
    lambda size: st.tuples(*[st.lists(st.integers(0, 6), min_size=size, max_size=size) for _ in range(2)])
)


@given(rows)
def test_every_pair_by_loop(row):
    raw, adjusted = row
    r = order_reversals(raw=raw, adjusted=adjusted)
    size = range(len(raw))
    expected = {(i, j) for i in size for j in size if raw[i] > raw[j] and adjusted[i] < adjusted[j]}
    assert set(zip(r.higher_raw.tolist(), r.higher_adjusted.tolist(), strict=True)) == expected
    assert len(r.higher_raw) == len(expected)
    assert (r.raw_gap > 0).all()
    assert (r.adjusted_gap > 0).all()
    assert (np.diff(r.raw_gap) <= 0).all()


def test_with_errors_only_sure_reversals():
    given_rows = {"raw": [0.30, 0.20, 0.29], "adjusted": [0.8, 1.2, 1.19]}
    both = order_reversals(**given_rows, raw_error=0.01, adjusted_error=0.05)
    assert sorted(zip(both.higher_raw.tolist(), both.higher_adjusted.tolist(), strict=True)) == [(0, 1)]
    assert order_reversals(**given_rows, raw_error=0.01, adjusted_error=0.5).higher_raw.size == 0
    assert order_reversals(**given_rows, raw_error=0.1, adjusted_error=0.05).higher_raw.size == 0
    every = order_reversals(**given_rows)
    assert sorted(zip(every.higher_raw.tolist(), every.higher_adjusted.tolist(), strict=True)) == [
        (0, 1),
        (0, 2),
        (2, 1),
    ]


def test_surest_first():
    r = order_reversals(raw=[9, 5, 1], adjusted=[1, 5, 9], raw_error=[0.1, 0.1, 1.9], adjusted_error=0.1)
    assert (r.higher_raw.tolist()[0], r.higher_adjusted.tolist()[0]) == (0, 1)


def test_no_data_is_left_out():
    r = order_reversals(raw=[0.3, np.nan, 0.2], adjusted=[0.9, 1.5, np.nan])
    assert r.higher_raw.size == 0
    assert order_reversals(raw=[], adjusted=[]).raw_gap.size == 0
    assert order_reversals(raw=[0.3], adjusted=[1.0]).raw_gap.size == 0


def test_luck_alone_seldom_makes_a_sure_one():
    """200 groups, equal in truth on both scales: both differences by chance is 0.05 x 0.05 / 2 of the pairs at most."""
    rng = np.random.default_rng(23)
    r = order_reversals(
        raw=0.2 + 0.01 * rng.standard_normal(200),
        adjusted=1 + 0.05 * rng.standard_normal(200),
        raw_error=0.01,
        adjusted_error=0.05,
    )
    # 19,900 pairs: 25 expected of them; pairs share groups, so twice as many is within reach of chance.
    assert r.higher_raw.size <= 50


def test_refusals():
    with pytest.raises(ValueError, match=r"raw must be one row of groups"):
        order_reversals(raw=[[1, 2]], adjusted=[[1, 2]])
    with pytest.raises(ValueError, match="raw must be finite"):
        order_reversals(raw=[1, np.inf], adjusted=[1, 2])
    with pytest.raises(ValueError, match="raw_error must not be missing"):
        order_reversals(raw=[1, 2], adjusted=[1, 2], raw_error=[0.1, np.nan])
