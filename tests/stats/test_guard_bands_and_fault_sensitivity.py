"""Sensitivity with bounds, a limit's trade-off, guard bands, pile-up: by hand, brute force, simulation, ends."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu, norm, poisson

from rqa.stats import fault_sensitivity, guard_band, limits_tradeoff, pile_up_test, proportion_interval


def test_sensitivity_by_hand():
    r = fault_sensitivity(
        caught=[45, 0, 7, 0], escaped=[5, 0, 0, 3], caught_unverified=10, escaped_unverified=[10, 2, 3, 0]
    )
    assert r.estimate[[0, 2, 3]].tolist() == [0.9, 1.0, 0.0]
    assert r.lower_bound[[0, 1, 2]] == pytest.approx([0.75, 0.0, 0.7])
    assert r.upper_bound == pytest.approx([55 / 60, 1.0, 1.0, 10 / 13])
    assert r.lower_bound_low[0] == proportion_interval(successes=45, trials=60).low
    assert r.upper_bound_high[0] == proportion_interval(successes=55, trials=60).high
    assert np.isnan([r.estimate[1], r.low[1], r.high[1]]).all()
    assert r.low[2] < r.high[2] == 1


@given(*[st.integers(0, 30)] * 4)
def test_bounds_hold_every_outcome_of_the_unverified(caught, escaped, fails, passes):
    r = fault_sensitivity(caught=caught, escaped=escaped, caught_unverified=fails, escaped_unverified=passes)
    for more in (0, fails // 2, fails):
        for gone in (0, passes // 2, passes):
            if caught + more + escaped + gone:
                share = (caught + more) / (caught + more + escaped + gone)
                lower_bound = r.lower_bound if caught + escaped + passes else 0.0
                upper_bound = r.upper_bound if caught + escaped + fails else 1.0
                assert lower_bound - 1e-12 <= share <= upper_bound + 1e-12


rows = st.lists(st.tuples(st.integers(-5, 5), st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=12)


@given(rows, st.sampled_from(["upper", "lower"]))
def test_tradeoff_unit_by_unit(table, side):
    value, faulty, sound = zip(*table, strict=True)
    r = limits_tradeoff(value=value, faulty=faulty, sound=sound, side=side)
    out = [b for v, f, _ in table for b in [v if side == "upper" else -v] * f]
    keep = [g for v, _, s in table for g in [v if side == "upper" else -v] * s]
    for i, limit in enumerate(r.limit if side == "upper" else -r.limit):
        assert (r.caught[i], r.held[i]) == (sum(b > limit for b in out), sum(g > limit for g in keep))
        assert (r.missed[i] + r.caught[i], r.passed[i] + r.held[i]) == (len(out), len(keep))
    assert (np.diff(r.caught) >= 0).all()
    if out and keep:
        assert r.area == pytest.approx(mannwhitneyu(out, keep).statistic / len(out) / len(keep), abs=1e-12)
    else:
        assert np.isnan(r.area)


def test_guard_band_by_simulation():
    """2 million units; 5 standard errors of a share of 1 % are 0.04 %."""
    rng = np.random.default_rng(5)
    true = rng.normal(4.6, 0.3, 2_000_000)
    shown = true + rng.normal(0, 0.1, true.size)
    r = guard_band(sigma=0.1, lower_limit=4.0, upper_limit=5.0, mean=4.6, spread=0.3)
    good = (true >= 4) & (true <= 5)
    assert r.bad == pytest.approx(norm.sf(1 / 0.75) + norm.cdf(-2), abs=1e-9)
    for i, (low, high) in enumerate([(4.0, 5.0), (r.lower, r.upper)]):
        passed = (shown >= low) & (shown <= high)
        assert r.bad_passed[i] == pytest.approx((passed & ~good).mean(), abs=4e-4)
        assert r.good_failed[i] == pytest.approx((~passed & good).mean(), abs=8e-4)


def test_guard_band_promise_and_ends():
    r = guard_band(sigma=0.1, upper_limit=5.0, risk=0.02)
    assert norm.cdf((r.upper - 5.0) / 0.1) == pytest.approx(0.02, rel=1e-9)
    assert r.lower is None
    assert np.isnan(r.bad)
    none = guard_band(sigma=0, lower_limit=1, mean=2, spread=1)
    assert (none.width, none.lower, none.bad_passed, none.good_failed) == (0, 1, (0, 0), (0, 0))
    for wrong, message in (
        ({"upper_limit": None}, "must be given"),
        ({"lower_limit": 6}, "lower_limit must be below"),
        ({"lower_limit": 4.9}, "leave nothing"),
        ({"risk": 0.5}, "below 0.5"),
        ({"mean": 3}, "given together"),
        ({"sigma": -1}, "sigma must be at least 0"),
    ):
        with pytest.raises(ValueError, match=message):
            guard_band(**{"sigma": 0.1, "upper_limit": 5.0} | wrong)


@given(st.integers(0, 8), st.integers(0, 8), st.integers(0, 8))
def test_pile_up_by_enumeration(one, two, three):
    """Poisson chances of all tables, with a factor of 0.7 from band to band, which must not matter."""
    same = [
        (poisson.pmf([a, b, c], [3.0, 2.1, 1.47]).prod(), c)
        for a in range(25)
        for b in range(25)
        for c in range(25)
        if a + b + c == one + two + three and a - c == one - three
    ]
    p = float(pile_up_test(nearest=one, second=two, third=three).p_value)
    if one + two + three == 0:
        assert np.isnan(p)
    else:
        assert p == pytest.approx(sum(q for q, c in same if c >= three) / sum(q for q, _ in same), rel=1e-9)


def test_pile_up_is_not_made_up_and_is_found():
    """400 samples of 2,000 normal values, limit at 2 deviations, bands of 0.3; 4 standard errors above 5 % is 11 %.

    In the later half every value above the limit was repeated until it passed; that must be found more often than not.
    """
    rng = np.random.default_rng(9)
    x = rng.normal(size=(400, 2000))
    x[200:] = np.where(x[200:] > 2, 1.9, x[200:])
    bands = [((x > 2 - 0.3 * k) & (x <= 2.3 - 0.3 * k)).sum(axis=1) for k in (1, 2, 3)]
    p = pile_up_test(nearest=bands[0], second=bands[1], third=bands[2]).p_value
    assert (p[:200] <= 0.05).mean() <= 0.11
    assert (p[200:] <= 0.05).mean() > 0.5
    assert np.isnan(pile_up_test(nearest=3, second=0, third=0).ratio)
