"""Returns per unit by age: published values, the definition unit by unit, three roads to one answer, coverage."""

import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.stats import mean_cumulative_difference, mean_cumulative_from_counts, mean_cumulative_function

SEATS = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))["valve_seats"]

# A unit is its end and the ages of its returns, each as a part of that end: ties and returns at the end are many.
DEPOTS = st.lists(
    st.integers(0, 9).flatmap(lambda end: st.tuples(st.just(end), st.lists(st.integers(0, end), max_size=4))),
    min_size=2,
    max_size=20,
)


def rows(depot):
    return {
        "unit": [i for i, (_, ages) in enumerate(depot) for _ in ages],
        "time": [age for _, ages in depot for age in ages],
        "end": {i: end for i, (end, _) in enumerate(depot)},
    }


def tables(depot):
    ended, returned, pairs = np.zeros(10, dtype=int), np.zeros((10, 10), dtype=int), np.zeros((10, 10), dtype=int)
    for end, ages in depot:
        ended[end] += 1
        for age in ages:
            returned[age, end] += 1
        for first, second in combinations(sorted(ages), 2):
            pairs[first, second] += 1
    return {"day": np.arange(10), "ended": ended, "returned": returned, "pairs": pairs}


def seats(**more):
    ends = dict(zip(SEATS["engine"], SEATS["end"], strict=True))
    return mean_cumulative_function(unit=SEATS["replaced_engine"], time=SEATS["replaced_at"], end=ends, **more)


def test_valve_seats():
    """Nelson and Doganaksoy 1989, robust standard error (seen, 3 decimals)."""
    r = seats().on_days(SEATS["day"])
    half = 0.5 * 10.0 ** -SEATS["decimals"]
    assert r.at_risk.tolist() == SEATS["at_risk"]
    assert np.abs(r.mcf - SEATS["mcf"]).max() <= half
    assert np.abs(r.se - SEATS["se"]).max() <= half


def test_nelson_variance_while_all_are_at_risk():
    """Nelson's own variance is the robust one times n / (n - 1) until the first engine leaves."""
    robust, nelson = seats(), seats(variance="nelson")
    all_there = robust.at_risk == 41
    assert nelson.se[all_there] == pytest.approx(robust.se[all_there] * np.sqrt(41 / 40), rel=1e-12)
    assert (nelson.se > robust.se).all()


@given(DEPOTS)
def test_robust_variance_unit_by_unit(depot):
    """Lawless and Nadeau: the sum over units of their squared influence, by a loop over units and days."""
    r = mean_cumulative_function(**rows(depot))
    influence = np.zeros(len(depot))
    mean = 0.0
    for j, day in enumerate(r.day):
        at_risk = [i for i, (end, _) in enumerate(depot) if end >= day]
        came = sum(ages.count(day) for _, ages in depot)
        assert r.at_risk[j] == len(at_risk)
        assert r.returned[j] == came
        mean += came / len(at_risk)
        for i in at_risk:
            influence[i] += (depot[i][1].count(day) - came / len(at_risk)) / len(at_risk)
        assert r.mcf[j] == pytest.approx(mean, abs=1e-12)
        assert r.se[j] ** 2 == pytest.approx((influence**2).sum(), abs=1e-10)


@given(DEPOTS)
def test_nelson_variance_day_by_day(depot):
    """Nelson 1995: sample covariances between days, over units at risk on both, each over n(earlier) (n(later) - 1)."""
    r = mean_cumulative_function(**rows(depot), variance="nelson")
    counts = np.array([[ages.count(day) for day in r.day] for _, ages in depot]).reshape(len(depot), r.day.size)
    total = 0.0
    for j in range(r.day.size):
        there = np.array([end >= r.day[j] for end, _ in depot])
        if there.sum() == 1:
            assert np.isnan(r.se[j:]).all()
            return
        away = counts[there] - counts[there].mean(axis=0)
        for i in range(j + 1):
            at_risk = sum(end >= r.day[i] for end, _ in depot)
            covariance = (away[:, i] * away[:, j]).sum() / (at_risk * (there.sum() - 1))
            total += covariance * (1 if i == j else 2)
        assert r.se[j] ** 2 == pytest.approx(max(total, 0), abs=1e-10)


@given(DEPOTS)
def test_counts_hold_all_that_the_rows_do(depot):
    from_rows = mean_cumulative_function(**rows(depot)).on_days(np.arange(10))
    from_counts = mean_cumulative_from_counts(**tables(depot))
    for name in ("at_risk", "returned"):
        assert getattr(from_counts, name).tolist() == getattr(from_rows, name).tolist()
    # 1e-7: a standard error of 0 is a square root of rounding.
    for name in ("mcf", "se"):
        assert getattr(from_counts, name) == pytest.approx(getattr(from_rows, name), abs=1e-7, nan_ok=True)
    again = from_counts.on_days(np.arange(10))
    assert again.low.tolist() == pytest.approx(from_counts.low.tolist(), nan_ok=True)


@given(st.lists(DEPOTS, min_size=1, max_size=3))
def test_counts_of_groups(depots):
    each = [tables(depot) for depot in depots]
    stacked = {name: np.stack([t[name] for t in each]) for name in ("ended", "returned", "pairs")}
    r = mean_cumulative_from_counts(day=np.arange(10), **stacked)
    for i, table in enumerate(each):
        alone = mean_cumulative_from_counts(**table)
        for name in ("mcf", "se", "low", "high"):
            assert getattr(r, name)[i] == pytest.approx(getattr(alone, name), abs=1e-12, nan_ok=True)


@given(DEPOTS)
def test_without_leaving_it_is_a_plain_mean(depot):
    """Every unit seen for 9 days: returns so far per unit, and the standard error of that mean (over n, not n - 1)."""
    depot = [(9, ages) for _, ages in depot]
    r = mean_cumulative_function(**rows(depot)).on_days(np.arange(10))
    so_far = np.array([[sum(age <= day for age in ages) for day in range(10)] for _, ages in depot])
    assert r.mcf == pytest.approx(so_far.mean(axis=0), abs=1e-12)
    assert r.se == pytest.approx(so_far.std(axis=0) / np.sqrt(len(depot)), abs=1e-7)


def test_kinds_of_ids_and_ends():
    table = {"unit": ["B", "A", "B"], "time": [4, 2, 9]}
    ends = {"A": 5.0, "B": 9.0, "C": 7.5}
    r = mean_cumulative_function(**table, end=ends)
    arrays = (list(ends), list(ends.values()))
    for frame in (pd.DataFrame(table), pl.DataFrame(table)):
        for end in (ends, pd.Series(ends), arrays, tuple(pl.Series(a) for a in arrays)):
            again = mean_cumulative_function(unit=frame["unit"], time=frame["time"], end=end)
            assert again.se.tolist() == r.se.tolist()


def test_no_returns_one_unit_fifty_returns_and_after_the_end():
    none = mean_cumulative_function(unit=[], time=[], end={1: 30, 2: 50})
    assert none.day.size == 0
    seen = none.on_days([0, 30, 31, 51])
    assert seen.mcf[:3].tolist() == [0, 0, 0]
    assert seen.low[:3].tolist() == [0, 0, 0]
    # No return in n units: the exact Poisson limit 3.6889 / n.
    assert seen.high[:3] == pytest.approx([3.6889 / 2, 3.6889 / 2, 3.6889], abs=1e-4)
    assert np.isnan(seen.mcf[3])
    assert np.isnan(seen.high[3])

    lone = mean_cumulative_function(unit=["A"], time=[3], end={"A": 9})
    assert lone.mcf.tolist() == [1]
    assert np.isnan([lone.se[0], lone.low[0], lone.high[0]]).all()
    before = lone.on_days([1])
    assert (before.mcf[0], np.isnan([before.se[0], before.low[0], before.high[0]]).all()) == (0, True)

    bad = mean_cumulative_function(unit=["A"] * 50, time=np.arange(50), end=dict.fromkeys(["A", *range(99)], 60))
    assert bad.mcf[-1] == pytest.approx(0.5)
    # One unit of a hundred with 50: mean 0.5, standard deviation 50 sqrt(0.01 x 0.99), over sqrt(100).
    assert bad.se[-1] == pytest.approx(50 * np.sqrt(0.01 * 0.99) / 10)

    nobody = mean_cumulative_from_counts(day=[1, 2], ended=[0, 0], returned=np.zeros((2, 2)), pairs=np.zeros((2, 2)))
    assert np.isnan(nobody.mcf).all()


def invented(rng, units, rate, shape=None):
    """Units seen for 50 to 200 days, coming back at random; with a shape each at a rate of its own (gamma)."""
    ends = rng.uniform(50, 200, units)
    own = rate * (rng.gamma(shape, 1 / shape, units) if shape else np.ones(units))
    many = rng.poisson(own * ends)
    unit = np.repeat(np.arange(units), many)
    return {"unit": unit, "time": rng.random(unit.size) * ends[unit], "end": (np.arange(units), ends)}


@pytest.mark.slow
@pytest.mark.parametrize("shape", [None, 0.5])
def test_limits_cover_the_truth(shape):
    """400 invented depots of 300 units, alike or very unlike, and the difference of each two of them.

    Binomial error of a coverage of 0.95 over 400 is 0.011: 0.91 to 0.98 leaves three of them.
    """
    rng = np.random.default_rng(33)
    held, apart = [], []
    for _ in range(400):
        one = mean_cumulative_function(**invented(rng, 300, 0.002, shape)).on_days([150])
        two = mean_cumulative_function(**invented(rng, 300, 0.001, shape)).on_days([150])
        held.append(one.low[0] <= 0.30 <= one.high[0])
        r = mean_cumulative_difference(one=one, two=two)
        apart.append(r.low[0] <= 0.15 <= r.high[0])
    assert 0.91 <= np.mean(held) <= 0.98
    assert 0.91 <= np.mean(apart) <= 0.98


def test_difference():
    one = mean_cumulative_function(unit=[1, 1, 2], time=[3, 9, 5], end=dict.fromkeys(range(8), 20))
    two = mean_cumulative_function(unit=[1], time=[7], end=dict.fromkeys(range(10), 8))
    r = mean_cumulative_difference(one=one, two=two)
    back = mean_cumulative_difference(one=two, two=one)
    assert r.day.tolist() == [3, 5, 7, 9]
    assert r.difference[:3] == pytest.approx([1 / 8, 2 / 8, 2 / 8 - 1 / 10])
    assert np.isnan(r.difference[3])
    assert r.low[:3].tolist() == (-back.high[:3]).tolist()
    a, b = one.on_days(r.day), two.on_days(r.day)
    assert r.se[:3] ** 2 == pytest.approx(a.se[:3] ** 2 + b.se[:3] ** 2, abs=1e-15)
    assert (r.difference - r.low)[:3] ** 2 == pytest.approx(((a.mcf - a.low) ** 2 + (b.high - b.mcf) ** 2)[:3])
    with pytest.raises(ValueError, match=r"limits of one level: 0\.95 and 0\.9"):
        mean_cumulative_difference(one=one, two=mean_cumulative_function(unit=[], time=[], end={1: 2}, level=0.9))


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"unit": ["A", "Z"]}, r"unit must have an end: unit\[1\] = 'Z' has none \(1 in all\)"),
        ({"time": [2, 7]}, r"time must not be after the unit's end: time\[1\] = 7, end of 'A' = 5 \(1 in all\)"),
        ({"time": [2]}, r"one length: unit \(2,\), time \(1,\)"),
        ({"time": [2, -1]}, "time must be at least 0"),
        ({"unit": ["A", None]}, r"unit must not be missing: unit\[1\]"),
        ({"end": {"A": None}}, "end must not be missing"),
        ({"end": (["A", "A"], [5, 6])}, "end must name a unit once: 2 ends of 1 unit"),
        ({"end": (["A", "B"], [5])}, r"one length: 2 units, ends \(1,\)"),
        ({"variance": "plain"}, "variance must be one of robust, nelson"),
    ],
)
def test_refuses(more, message):
    with pytest.raises(ValueError, match=message):
        mean_cumulative_function(**{"unit": ["A", "A"], "time": [2, 3], "end": {"A": 5}, **more})


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"day": [2, 1]}, "day must rise"),
        ({"ended": [1]}, r"for k days: day \(2,\), ended \(1,\)"),
        ({"returned": [[0, 0], [1, 0]]}, r"returned must not hold a return after its unit's end: returned\[1, 0\] = 1"),
        ({"pairs": [[0, 0], [1, 0]]}, "pairs must not hold a pair whose first return is the later one"),
    ],
)
def test_count_tables_refused(more, message):
    good = {"day": [1, 2], "ended": [0, 2], "returned": [[0, 1], [0, 0]], "pairs": [[0, 0], [0, 0]]}
    with pytest.raises(ValueError, match=message):
        mean_cumulative_from_counts(**{**good, **more})
