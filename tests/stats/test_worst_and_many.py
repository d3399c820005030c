"""Units that hold most of the returns, and whether chance alone would make them do so."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rqa.stats import many_returns, worst_units

UNITS = st.lists(st.tuples(st.integers(0, 6), st.floats(0.01, 3)), min_size=1, max_size=40)


@given(UNITS)
def test_poisson_chances_and_step_up(rows):
    """scipy.stats: the Poisson tail, and false_discovery_control over the units."""
    returns, expected = (np.array(a) for a in zip(*rows, strict=True))
    r = many_returns(returns=returns, expected=expected)
    p = stats.poisson.sf(returns - 1, expected)
    assert r.p_value == pytest.approx(p, rel=1e-10)
    assert r.p_adjusted == pytest.approx(stats.false_discovery_control(r.p_value, method="bh"), rel=1e-12)
    assert r.by_luck == pytest.approx(len(rows) * p, rel=1e-10)
    assert r.p_any == pytest.approx(1 - (1 - p) ** len(rows), abs=1e-10)


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=20), st.floats(0.01, 0.99))
def test_binomial_chances(rows, chance):
    returns, more = (np.array(a) for a in zip(*rows, strict=True))
    jobs = returns + more
    r = many_returns(returns=returns, expected=jobs * chance, jobs=jobs)
    assert r.p_value == pytest.approx(stats.binom.sf(returns - 1, jobs, chance), rel=1e-9)


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 5)), min_size=1, max_size=12))
def test_a_count_table_is_the_units_one_by_one(rows):
    returns, units = (np.array(a) for a in zip(*rows, strict=True))
    table = many_returns(returns=returns, expected=0.3, units=units)
    single = many_returns(returns=np.repeat(returns, units), expected=0.3)
    for name in ("p_value", "by_luck", "p_any", "p_adjusted"):
        assert np.repeat(getattr(table, name), units) == pytest.approx(getattr(single, name), rel=1e-12)


def test_ends_of_many_returns():
    r = many_returns(returns=[0, 2, 50], expected=[0, 0, 1])
    # Impossible, but no p-value is 0: the least double that keeps all digits stands for it.
    assert r.p_value[:2].tolist() == [1, np.finfo(float).tiny]
    assert 0 < r.p_value[2] < 1e-60
    assert r.p_any[2] == pytest.approx(3 * r.p_value[2])
    assert many_returns(returns=[], expected=[]).p_adjusted.size == 0
    shaped = many_returns(returns=[[0, 1], [2, 0]], expected=0.1)
    assert shaped.p_adjusted.shape == (2, 2)
    with pytest.raises(ValueError, match="returns must not be above jobs: 1 are"):
        many_returns(returns=[3], expected=[0.1], jobs=[2])
    with pytest.raises(ValueError, match="expected must not be above jobs: 1 are"):
        many_returns(returns=[1], expected=[2.5], jobs=[2])


def test_quiet_depots_name_no_unit():
    """300 depots of 500 units that differ by chance alone: one in twenty at most names a chronic unit."""
    rng = np.random.default_rng(8)
    named = sum((many_returns(returns=rng.poisson(0.2, 500), expected=0.2).p_adjusted < 0.05).any() for _ in range(300))
    # 0.05 and three binomial standard errors.
    assert named / 300 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 300)


@given(UNITS, st.floats(0, 1))
def test_share_of_the_worst_by_hand(rows, fraction):
    """The units one by one, the worst first, the last of them in part."""
    returns = np.sort([x for x, _ in rows])[::-1]
    r = worst_units(returns=returns, fraction=fraction)
    if returns.sum() == 0:
        assert np.isnan(r.share)
        return
    taken = fraction * len(rows)
    whole = int(taken)
    held = returns[:whole].sum() + (taken - whole) * (returns[whole] if whole < len(rows) else 0)
    assert float(r.share) == pytest.approx(held / returns.sum(), abs=1e-9)
    assert r.by_luck >= fraction - 1e-9


@pytest.mark.parametrize("mixed", [False, True])
def test_share_by_luck_is_what_luck_gives(mixed):
    """20 depots of 20,000 units that differ by chance, or by how long they were followed: the two shares agree.

    0.01: the simulated share of the worst 5 % has a standard error near 0.001 here.
    """
    rng = np.random.default_rng(12)
    expected = np.repeat([0.05, 0.3, 0.6], [10_000, 6_000, 4_000]) if mixed else np.full(20_000, 0.2)
    shares = []
    for _ in range(20):
        r = worst_units(returns=rng.poisson(expected), fraction=[0.01, 0.05, 0.3], expected=expected)
        shares.append(r.share - r.by_luck)
    assert np.abs(np.mean(shares, axis=0)).max() < 0.01


def test_ends_of_worst_units():
    r = worst_units(returns=[0, 1, 4], units=[90, 8, 2], fraction=[0, 0.02, 0.10, 1])
    assert r.share.tolist() == [0, 0.5, 1, 1]
    assert (r.units, r.returns) == (100, 16)
    assert r.by_luck[[0, -1]] == pytest.approx([0, 1])
    one = worst_units(returns=[0, 50], units=[999, 1], fraction=0.001)
    assert float(one.share) == 1
    for empty in (worst_units(returns=[]), worst_units(returns=[3], units=[0]), worst_units(returns=[0, 0])):
        assert np.isnan(empty.share)
        assert np.isnan(empty.by_luck)
    with pytest.raises(ValueError, match="fraction must be between 0 and 1"):
        worst_units(returns=[1], fraction=2)
    with pytest.raises(ValueError, match="expected must be above 0 for some unit"):
        worst_units(returns=[1, 2], expected=[0, 0])
