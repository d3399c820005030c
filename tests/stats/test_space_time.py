"""Knox's test and Naus's exact scan probability: published values, simulation, counting pair by pair."""

import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.stats import close_pairs, knox_test, scan_probability
from rqa.stats.scan_chance import exact_chance
from tests.examples import examples

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "risky_steps.toml").read_text("utf-8"))


@pytest.mark.parametrize("row", PUBLISHED["scan_exact"]["rows"])
def test_naus(row):
    r = scan_probability(events=row["events"], fullest=row["fullest"], window=row["window"])
    assert abs(float(r.chance) - row["chance"]) <= 0.5 * 10.0 ** -row["decimals"]
    assert r.exact


def test_all_in_one_window_in_closed_form():
    n, w = np.array([2, 3, 5, 9]), np.array([0.7, 0.1, 0.2, 0.6])
    r = scan_probability(events=n, fullest=n, window=w)
    assert r.chance == pytest.approx(n * w ** (n - 1) - (n - 1) * w**n, rel=1e-10)
    assert r.exact.all()


def test_scan_probability_by_simulation():
    """100,000 sets of 10 events; the exact one within 5 standard errors, the approximation within 10 % of itself."""
    times = np.sort(np.random.default_rng(11).random((100_000, 10)), axis=1)
    for most, window in ((6, 0.25), (4, 0.05)):
        seen = ((times[:, most - 1 :] - times[:, : 11 - most]).min(axis=1) <= window).mean()
        r = scan_probability(events=10, fullest=most, window=window)
        error = 5 * np.sqrt(seen * (1 - seen) / 1e5)
        assert float(r.chance) == pytest.approx(seen, abs=error + (0 if r.exact else 0.1 * seen))


@pytest.mark.parametrize(
    ("events", "fullest", "window"), [(6, 3, 0.3), (5, 2, 0.15), (7, 3, 0.45), (20, 9, 0.25), (9, 5, 0.6), (7, 6, 0.07)]
)
def test_few_events_exactly_by_simulation(events, fullest, window):
    """40,000 sets of so many events; 4 standard errors. The old approximation was off by up to ten times that."""
    times = np.sort(np.random.default_rng(12).random((40_000, events)), axis=1)
    seen = ((times[:, fullest - 1 :] - times[:, : events - fullest + 1]).min(axis=1) <= window).mean()
    r = scan_probability(events=events, fullest=fullest, window=window)
    assert r.exact
    assert float(r.chance) == pytest.approx(seen, abs=4 * np.sqrt(max(seen * (1 - seen), 1e-4) / 4e4))


@settings(max_examples=examples(40))
@given(st.integers(2, 8), st.integers(2, 8), st.floats(0.15, 0.5))
def test_the_sum_of_determinants_is_the_closed_form_where_there_is_one(events, fullest, window):
    """Naus's formula for more than half of the events; and more windows than chance, the less likely a full one."""
    events = max(events, fullest)
    r = scan_probability(events=events, fullest=[fullest, events], window=window)
    if fullest > events / 2:
        # 1e-9: what the sum of determinants leaves of 1, here a chance.
        summed = exact_chance(events, fullest, window)
        assert np.isnan(summed) or summed == pytest.approx(float(r.chance[0]), abs=1e-9)
        assert window < 0.25 or not np.isnan(summed)
    assert np.isnan(r.chance[0]) or r.chance[0] >= r.chance[1] - 1e-12


def test_where_nothing_is_exact_there_is_no_number_but_a_small_one():
    """Twelve events, five of them in 15 % of the time: in 43 of 100 simulated sets, and no formula that is close."""
    r = scan_probability(events=[12, 300], fullest=[5, 30], window=[0.15, 0.02])
    assert np.isnan(r.chance[0])
    assert 0 < r.chance[1] < 0.01
    assert not r.exact.any()


def test_events_that_must_fill_some_window():
    """Eleven events on ten windows: two are in one of them, however they fall (the pigeonhole)."""
    r = scan_probability(events=[11, 50, 1000], fullest=[2, 25, 101], window=[0.1, 0.51, 0.1])
    assert r.chance.tolist()[:2] == [1.0, 1.0]
    assert np.isnan(r.chance[2])
    assert r.exact[:2].all()


def test_kinds_that_are_missing_or_unlike_are_no_kinds():
    for kind in ([None, "a"], [float("nan"), float("nan")], ["a", 1], [float("nan"), "a"]):
        with pytest.raises(ValueError, match="kind must"):
            close_pairs(day=[1, 2], kind=kind, within=3)


def test_scan_probability_ends():
    assert scan_probability(events=[1, 20], fullest=1, window=0.1).chance.tolist() == [1, 1]
    assert float(scan_probability(events=50, fullest=2, window=0.9).chance) == 1
    for wrong in ({"fullest": 0}, {"fullest": 9}, {"window": 1.0}):
        with pytest.raises(ValueError):
            scan_probability(**{"events": 8, "fullest": 5, "window": 0.2} | wrong)


def test_knox():
    k = PUBLISHED["knox_leukaemia"]
    assert k["cases"] * (k["cases"] - 1) // 2 == k["pairs"]
    r = knox_test(pairs=k["pairs"], close_in_time=k["close_in_time"], close_in_kind=k["close_in_space"], both=k["both"])
    assert abs(float(r.expected) - k["expected"]) <= 0.0005
    assert abs(float(r.p_value) - k["p_value"]) <= 0.5 * 10.0 ** -k["decimals"]


def test_knox_ends():
    r = knox_test(pairs=[0, 10, 10], close_in_time=[0, 3, 0], close_in_kind=[0, 2, 2], both=0)
    assert np.isnan(r.p_value[[0, 2]]).all()
    assert r.p_value[1] == 1
    with pytest.raises(ValueError, match="both must not be above close_in_kind"):
        knox_test(pairs=10, close_in_time=5, close_in_kind=1, both=2)


@given(st.lists(st.tuples(st.integers(0, 20), st.sampled_from("abc")), max_size=15), st.integers(0, 6))
def test_pairs_counted_one_by_one(cases, within):
    day, kind = [d for d, _ in cases], [k for _, k in cases]
    near = [(abs(a - b) <= within, k == m) for (a, k), (b, m) in combinations(cases, 2)]
    r = close_pairs(day=day, kind=kind, within=within)
    assert (r.pairs, r.close_in_time, r.close_in_kind, r.both) == (
        len(near),
        sum(t for t, _ in near),
        sum(k for _, k in near),
        sum(t and k for t, k in near),
    )


@pytest.mark.slow
def test_knox_claims_no_more_than_promised():
    """2,000 sets of 60 cases at random on 20 benches; 5 standard errors above 5 % is 7.4 %."""
    rng = np.random.default_rng(3)
    found = 0
    for _ in range(2000):
        pairs = close_pairs(day=rng.random(60) * 365, kind=rng.integers(0, 20, 60), within=7)
        r = knox_test(
            pairs=pairs.pairs,
            close_in_time=pairs.close_in_time,
            close_in_kind=pairs.close_in_kind,
            both=pairs.both,
        )
        found += float(r.p_value) <= 0.05
    assert found / 2000 <= 0.074
