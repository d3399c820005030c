"""Scan statistic: Kulldorff's ratio, every window by brute force, Naus's exact chance, error rates, echoes, ends."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.stats import scan_statistic
from tests.examples import examples

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "risky_steps.toml").read_text("utf-8"))
ONE = {"simulations": 1}


def test_poisson_ratio():
    k = PUBLISHED["poisson_scan"]
    r = scan_statistic(
        events=[k["inside"], k["events"] - k["inside"]],
        work=[k["expected"], k["events"] - k["expected"]],
        period=[0, 1],
        likelihood="poisson",
        **ONE,
    )
    assert abs(r.bursts[0].log_ratio - k["ratio"]) <= 0.5 * 10.0 ** -k["decimals"]
    assert (r.bursts[0].events, r.bursts[0].expected) == (10, pytest.approx(5))
    assert r.bursts[0].ratio == pytest.approx((10 / 5) / (90 / 95))


def by_hand(events, work, period, label, longest, likelihood):
    """Each window of each group, added up cell by cell, with the likelihoods written out."""
    periods, best = max(period) + 1, 0.0
    total, all_work = sum(events), sum(work)

    def binomial(c, n):
        return sum(k * np.log(k / n) for k in (c, n - c) if k > 0)

    for group in [None, *sorted(set(label))]:
        for first in range(periods):
            for last in range(first, min(first + longest, periods)):
                inside = [
                    i for i, p in enumerate(period) if first <= p <= last and (group is None or label[i] == group)
                ]
                c, w = sum(events[i] for i in inside), sum(work[i] for i in inside)
                if c < 2 or c * all_work <= total * w or w == all_work:
                    continue
                if likelihood == "poisson":
                    e, out = total * w / all_work, total - c
                    ratio = c * np.log(c / e) + (out * np.log(out / (total - e)) if out else 0.0)
                else:
                    ratio = binomial(c, w) + binomial(total - c, all_work - w) - binomial(total, all_work)
                best = max(best, ratio)
    return best


cells = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 9), st.integers(0, 4), st.sampled_from("ab")), min_size=1, max_size=14
)


@settings(max_examples=examples(60), deadline=None)
@given(cells, st.sampled_from(["poisson", "bernoulli"]), st.integers(1, 5))
def test_every_window_is_tried(rows, likelihood, longest):
    events, extra, period, label = (list(column) for column in zip(*rows, strict=True))
    work = [x + more for x, more in zip(events, extra, strict=True)]
    r = scan_statistic(
        events=events,
        work=work,
        period=period,
        groups={"bench": label},
        likelihood=likelihood,
        longest=longest,
        **ONE,
    )
    best = by_hand(events, work, period, label, min(longest, max(period) + 1), likelihood)
    if sum(events) == 0 or (likelihood == "bernoulli" and sum(events) == sum(work)):
        assert r.bursts == ()
    elif best == pytest.approx(0, abs=1e-9):
        assert r.highest.max() == pytest.approx(0, abs=1e-9)
    else:
        assert r.highest.max() == pytest.approx(best, rel=1e-9)
        assert r.bursts[0].log_ratio == pytest.approx(best, rel=1e-9)


def test_chance_of_the_fullest_period_is_exact():
    """Two periods alike, one period long: the fuller one has 8 or more of 10 with probability 2 x 56 / 1024.

    Of 4,000 sets, 4 standard errors are 2 %.
    """
    r = scan_statistic(
        events=[8, 2], work=[1.0, 1.0], period=[0, 1], likelihood="poisson", simulations=4000, enough=4000, seed=2
    )
    assert r.p_value == pytest.approx(112 / 1024, abs=0.02)
    # Bernoulli: 8 of 10 jobs from the one half of 20 jobs, both ways: hypergeometric.
    r = scan_statistic(events=[8, 2], work=[10, 10], period=[0, 1], simulations=4000, enough=4000, seed=2)
    exact = 2 * (45 * 45 + 10 * 10 + 1) / 184756
    assert r.p_value == pytest.approx(exact, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
def test_a_quiet_depot_is_quiet_as_often_as_promised(likelihood):
    """200 depots without any burst, two dimensions that share jobs: p <= 0.1 in 10 %, 4 standard errors are 8.5 %."""
    rng = np.random.default_rng(4)
    found = 0
    for i in range(200):
        period, bench, lot = rng.integers(0, 8, 60), rng.integers(0, 4, 60), rng.integers(0, 3, 60)
        work = rng.integers(5, 30, 60)
        r = scan_statistic(
            events=rng.binomial(work, 0.06),
            work=work,
            period=period,
            groups={"bench": bench, "lot": lot},
            likelihood=likelihood,
            simulations=99,
            enough=10,
            seed=i,
        )
        found += r.p_value <= 0.1
    assert found / 200 <= 0.185


def planted(seed):
    rng = np.random.default_rng(seed)
    period, bench, lot = rng.integers(0, 24, 3000), rng.integers(0, 12, 3000), rng.integers(0, 20, 3000)
    lot = np.where((bench == 3) & (period >= 8) & (period <= 10), 5, lot)
    work = rng.integers(1, 10, 3000)
    chance = np.where((lot == 5) & (period >= 8) & (period <= 10), 0.25, 0.03)
    names = np.array([f"B{b}" for b in range(12)], dtype=object)[bench]
    names[:50] = None
    groups = {"bench": names, "lot": lot}
    return {"events": rng.binomial(work, chance), "work": work, "period": period, "groups": groups}


def test_a_bad_lot_is_found_and_its_bench_is_an_echo():
    r = scan_statistic(**planted(1), simulations=199)
    top = r.bursts[0]
    assert (top.dimension, top.group, top.first, top.last, top.echo_of) == ("lot", 5, 8, 10, None)
    assert top.p_value == 1 / 200
    assert not r.stopped
    echoes = [b for b in r.bursts if b.echo_of == 0]
    assert ("bench", "B3") in [(b.dimension, b.group) for b in echoes]
    for b in r.bursts:
        assert b.echo_of is not None or b is top or b.p_value > 0.05
        assert b.p_within <= b.p_value


def test_listed_windows_of_one_group_do_not_overlap():
    listed = scan_statistic(**planted(2), limit=40, **ONE).bursts
    assert len(listed) == 40
    assert (np.diff([b.log_ratio for b in listed]) <= 1e-9).all()
    for i, b in enumerate(listed):
        for other in listed[:i]:
            if (other.dimension, other.group) == (b.dimension, b.group):
                assert other.last < b.first or other.first > b.last


def test_the_same_seed_gives_the_same_and_simulation_ends_early():
    data = planted(3) | {"events": np.random.default_rng(5).binomial(planted(3)["work"], 0.04)}
    one, two = (scan_statistic(**data, simulations=300, enough=10) for _ in range(2))
    assert one.bursts == two.bursts
    assert one.stopped
    assert one.simulations < 300
    assert one.p_value == 10 / one.simulations


def test_units_of_expected_work_do_not_matter():
    data = planted(6) | {"likelihood": "poisson"} | ONE
    one = scan_statistic(**data)
    two = scan_statistic(**data | {"work": data["work"] * 0.001})
    assert one.bursts[0].log_ratio == pytest.approx(two.bursts[0].log_ratio, rel=1e-9)
    assert one.bursts[0].work == pytest.approx(1000 * two.bursts[0].work)


def test_nothing_to_find():
    for events, work in (([0, 0], [5, 5]), ([5, 5], [5, 5])):
        r = scan_statistic(events=events, work=work, period=[0, 1])
        assert (r.bursts, r.simulations) == ((), 0)
        assert np.isnan(r.p_value)
    empty = scan_statistic(events=[], work=[], period=[])
    assert empty.bursts == ()
    alone = scan_statistic(events=[3], work=[9], period=[0], groups={"lot": [None]})
    assert (alone.bursts, alone.dimensions, alone.p_value) == ((), ("time",), 1.0)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"work": [1, 5]}, "events must not be above work"),
        ({"period": [0]}, "one length"),
        ({"groups": {"lot": ["a"]}}, "one entry per cell"),
        ({"groups": {"time": ["a", "b"]}}, "always scanned"),
        ({"likelihood": "poisson", "work": [0.0, 1.0]}, "above 0 where there were events"),
        ({"longest": 0}, "longest must be"),
        ({"likelihood": "normal"}, "one of"),
    ],
)
def test_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        scan_statistic(**{"events": [2, 1], "work": [5, 5], "period": [0, 1]} | changed)
