"""The follow-up curve: published values, reference libraries on rows, landmarks, coverage."""

import tomllib
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from rqa.stats import kaplan_meier

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))

# A row is one job: days followed, and whether it came back on the last of them. Days are few, so ties are many.
ROWS = st.lists(st.tuples(st.integers(0, 12), st.booleans()), min_size=1, max_size=60)


def from_rows(rows, **more):
    day, returned = (np.array(a) for a in zip(*rows, strict=True))
    return kaplan_meier(day=day, returned=returned.astype(int), censored=(~returned).astype(int), **more)


def test_twenty_units():
    """NIST/SEMATECH e-Handbook 8.2.1.5: the products seen, their decimals recomputed."""
    table = PUBLISHED["kaplan_meier_units"]
    r = from_rows([(t, True) for t in table["failures"]] + [(t, False) for t in table["removed"]])
    at = np.searchsorted(r.day, table["day"])
    assert r.at_risk[at].tolist() == table["at_risk"]
    assert np.abs(1 - r.share[at] - table["out"]).max() <= 0.5 * 10.0 ** -table["decimals"]
    assert np.abs(r.se[at] - table["se"]).max() <= 0.5 * 10.0 ** -table["se_decimals"]
    assert 1 - r.share[at[:3]] == pytest.approx([19 / 20, 19 / 20 * 18 / 19, 19 / 20 * 18 / 19 * 16 / 17], abs=1e-15)


def test_remission():
    """Freireich 1963 / Gehan 1965, treated arm: data seen, curve and standard errors from memory."""
    table = PUBLISHED["remission"]
    relapsed = np.array(table["treated_relapsed"])
    r = kaplan_meier(day=table["treated_weeks"], returned=relapsed, censored=1 - relapsed)
    at = np.searchsorted(r.day, table["week"])
    half = 0.5 * 10.0 ** -table["decimals"]
    assert r.at_risk[at].tolist() == table["at_risk"]
    assert r.returned[at].tolist() == table["relapses"]
    assert np.abs(1 - r.share[at] - table["out"]).max() <= half
    assert np.abs(r.se[at] - table["se"]).max() <= half
    # The median of 23 weeks is recalled with the data in most textbooks (from memory).
    assert float(r.days_until(0.5).day) == 23


@given(ROWS)
def test_statsmodels_agrees_on_rows(rows):
    r = from_rows(rows)
    day, returned = (np.array(a) for a in zip(*rows, strict=True))
    with np.errstate(divide="ignore"):
        reference = SurvfuncRight(day, returned.astype(int))
    at = np.searchsorted(r.day, reference.surv_times)
    assert r.at_risk[at].tolist() == reference.n_risk.tolist()
    assert 1 - r.share[at] == pytest.approx(reference.surv_prob, abs=1e-10)
    left = reference.surv_prob > 0  # statsmodels has no standard error where all have returned
    assert r.se[at][left] == pytest.approx(reference.surv_prob_se[left], abs=1e-10)
    assert (r.se[at][~left] == 0).all()


@given(ROWS, st.floats(0.5, 0.999))
def test_scipy_agrees_on_rows(rows, level):
    """scipy.stats.ecdf: its curve, and its log-log limits where they exist (0 < share < 1)."""
    r = from_rows(rows, level=level)
    back = [d for d, returned in rows if returned]
    out = [d for d, returned in rows if not returned]
    reference = stats.ecdf(stats.CensoredData(uncensored=back, right=out)).cdf
    at = np.searchsorted(r.day, reference.quantiles)
    assert r.share[at] == pytest.approx(reference.probabilities, abs=1e-10)
    inside = (reference.probabilities > 1e-9) & (reference.probabilities < 1 - 1e-9)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # scipy says so where it has no limits
        limits = reference.confidence_interval(confidence_level=level, method="log-log")
    assert r.low[at][inside] == pytest.approx(limits.low.probabilities[inside], abs=1e-10)
    assert r.high[at][inside] == pytest.approx(limits.high.probabilities[inside], abs=1e-10)


@given(ROWS)
def test_limits_hold_the_share(rows):
    r = from_rows(rows)
    assert ((r.low >= 0) & (r.low <= r.share) & (r.share <= r.high) & (r.high <= 1)).all()
    assert (r.high > 0).all()
    assert (r.low < 1).all()


@given(ROWS)
def test_without_censoring_before_it_a_share_is_returned_over_jobs(rows):
    rows = [(day, True) for day, _ in rows]
    r = from_rows(rows)
    assert r.share == pytest.approx(r.returned.cumsum() / len(rows), abs=1e-12)
    p = r.share
    assert r.se == pytest.approx(np.sqrt(p * (1 - p) / len(rows)), abs=1e-12)


@given(ROWS, st.randoms())
def test_order_ties_and_empty_days_change_nothing(rows, random):
    r = from_rows(rows)
    mixed = list(rows)
    random.shuffle(mixed)
    again = from_rows(mixed)
    every = np.arange(14)
    dense = kaplan_meier(
        day=every,
        returned=np.bincount([d for d, back in rows if back], minlength=14),
        censored=np.bincount([d for d, back in rows if not back], minlength=14),
    )
    at = np.searchsorted(every, r.day)
    for name in ("at_risk", "returned", "censored", "share", "se", "low", "high"):
        assert getattr(again, name).tolist() == getattr(r, name).tolist()
        assert getattr(dense, name)[at].tolist() == getattr(r, name).tolist()


def test_day_zero_day_w_all_censored_and_nobody():
    """Groups: all back on day 0; one back on day 30 exactly; all censored; nobody."""
    r = kaplan_meier(
        day=[0, 30, 31],
        returned=[[5, 0, 0], [0, 1, 0], [0, 0, 0], [0, 0, 0]],
        censored=[[0, 0, 0], [0, 0, 3], [0, 7, 3], [0, 0, 0]],
    )
    z2 = stats.norm.ppf(0.975) ** 2
    assert r.share[0].tolist() == [1, 1, 1]
    assert r.se[0].tolist() == [0, 0, 0]
    assert r.high[0].tolist() == [1, 1, 1]
    assert r.low[0] == pytest.approx([5 / (5 + z2)] * 3, abs=1e-14)
    assert r.share[1] == pytest.approx([0, 0.25, 0.25], abs=1e-15)
    assert r.at_risk[1].tolist() == [4, 4, 3]
    assert r.share[2].tolist() == [0, 0, 0]
    assert r.low[2].tolist() == [0, 0, 0]
    assert r.high[2] == pytest.approx(z2 / (np.array([10, 10, 3]) + z2), abs=1e-14)
    for name in ("share", "se", "low", "high"):
        assert np.isnan(getattr(r, name)[3]).all()


def test_after_the_last_day_followed_there_is_no_data():
    r = kaplan_meier(day=[5, 10, 20], returned=[[1, 0, 0], [0, 0, 1]], censored=[[0, 4, 0], [0, 0, 4]])
    assert np.isnan(r.share[0, 2])
    assert r.share[1, 2] == pytest.approx(0.2)
    seen = r.on_days([0, 7, 20, 21])
    assert seen.share[0].tolist()[:2] == pytest.approx([0, 0.2])
    assert np.isnan(seen.share[:, 3]).all()
    assert seen.at_risk.tolist() == [[5, 4, 0, 0], [5, 5, 5, 0]]


@given(ROWS, st.integers(0, 14))
def test_read_off_on_a_day(rows, day):
    r = from_rows(rows)
    seen = r.on_days(day)
    if day > r.day[-1] and r.share[-1] < 1:
        assert np.isnan(seen.share).all()
    else:
        before = r.day <= day
        assert seen.share[0] == (r.share[before][-1] if before.any() else 0)


@given(ROWS, st.floats(0.05, 0.95))
def test_day_reached(rows, share):
    r = from_rows(rows)
    reached = r.days_until(share)
    for value, curve in ((reached.day, r.share), (reached.low, r.high), (reached.high, r.low)):
        first = [d for d, s in zip(r.day, curve, strict=True) if s >= share - 1e-12]
        assert float(value) == first[0] if first else np.isnan(value)


@given(ROWS, st.integers(0, 12))
def test_mean_days_is_the_mean_of_what_was_seen_when_nothing_is_censored(rows, upto):
    """Without censoring: the plain mean of min(day, upto), with its standard error (variance over n)."""
    rows = [(day, True) for day, _ in rows]
    r = from_rows(rows).mean_days(upto)
    days = np.minimum([day for day, _ in rows], upto)
    assert float(r.days) == pytest.approx(days.mean(), abs=1e-10)
    # 1e-7: a square root of rounding where the variance is 0.
    assert float(r.se) == pytest.approx(days.std() / np.sqrt(len(rows)), abs=1e-7)
    assert r.low <= r.days <= r.high


def test_mean_days_by_another_way():
    """Area by a sum over single days, variance by its formula day by day; beyond follow-up there is no data."""
    table = PUBLISHED["kaplan_meier_units"]
    r = from_rows([(t, True) for t in table["failures"]] + [(t, False) for t in table["removed"]])
    out = 1 - r.on_days(np.arange(180)).share
    m = r.mean_days(180)
    assert float(m.days) == pytest.approx(out.sum(), abs=1e-10)
    variance = sum(
        out[t:].sum() ** 2 * 1 / (n * (n - 1)) for t, n in zip(table["day"], table["at_risk"], strict=True) if t <= 180
    )
    assert float(m.se) == pytest.approx(np.sqrt(variance), abs=1e-10)
    assert np.isnan(r.mean_days(201).days)


def test_mean_days_with_nobody_back_leaves_room():
    r = kaplan_meier(day=[90], returned=[0], censored=[50]).mean_days(30)
    assert (r.days, r.se, r.high) == (30, 0, 30)
    assert 25 < r.low < 30


@pytest.mark.slow
def test_limits_cover_the_truth():
    """6,000 invented groups of 150 jobs, constant hazard, followed 0 to 60 days: share by day 30 held by its limits.

    Binomial error of a coverage of 0.95 over 6,000 groups is 0.0028, so 0.94 to 0.96 leaves three of them; limits of
    1.8 standard errors, which hold the truth in 92.8 %, would fall out.
    """
    rng = np.random.default_rng(20240)
    groups, jobs, hazard = 6_000, 150, 0.004
    back = rng.geometric(hazard, (groups, jobs))
    followed = rng.integers(0, 61, (groups, jobs))
    came = back <= followed
    cells = np.arange(groups)[:, np.newaxis] * 61 + np.minimum(back, followed)
    returned = np.bincount(cells[came], minlength=groups * 61).reshape(groups, 61)
    censored = np.bincount(cells[~came], minlength=groups * 61).reshape(groups, 61)
    r = kaplan_meier(day=np.arange(61), returned=returned, censored=censored)
    truth = 1 - (1 - hazard) ** 30
    assert 0.94 <= ((r.low[:, 30] <= truth) & (truth <= r.high[:, 30])).mean() <= 0.96
    assert r.se[:, 30].mean() == pytest.approx(r.share[:, 30].std(), rel=0.06)
    mean = r.mean_days(30)
    truth = ((1 - hazard) ** np.arange(30)).sum()
    # The mean is skewed at some 12 returns, so its plain limits are allowed to miss a little more often.
    assert 0.91 <= ((mean.low <= truth) & (truth <= mean.high)).mean() <= 0.97


def test_frames_and_large_counts():
    frame = {"day": [1, 2], "returned": [10**12, 3], "censored": [0, 10**15]}
    lists = kaplan_meier(**frame)
    for kind in (pd.DataFrame, pl.DataFrame):
        data = kind(frame)
        r = kaplan_meier(day=data["day"], returned=data["returned"], censored=data["censored"])
        assert r.low.tolist() == lists.low.tolist()
    assert lists.share[1] == pytest.approx(1e12 / (1e12 + 1e15), rel=1e-9)
    assert 0 < lists.se[1] < 1e-7


def test_results_are_read_only():
    r = from_rows([(1, True), (2, False)])
    with pytest.raises(ValueError, match="read-only"):
        r.share[0] = 1


@pytest.mark.parametrize(
    ("given_", "message"),
    [
        ({"day": [-1], "returned": [1], "censored": [0]}, r"day must be at least 0: day\[0\] = -1"),
        ({"day": [1, 2], "returned": [1], "censored": [0]}, r"day \(2,\), returned \(1,\), censored \(1,\)"),
        ({"day": [1, 2], "returned": [1, 0], "censored": [0]}, "censored of the same"),
        ({"day": [1, 2], "returned": [1, 0.5], "censored": [0, 0]}, r"returned must be whole numbers: returned\[1\]"),
        ({"day": [1, None], "returned": [1, 0], "censored": [0, 0]}, r"day must not be missing"),
        ({"day": [[1]], "returned": [1], "censored": [0]}, r"day must have one axis: shape \(1, 1\)"),
        ({"day": [1], "returned": 1, "censored": 0}, "returned must be of shape"),
        ({"day": [1], "returned": [1], "censored": [0], "level": 95}, "level must be one number between 0 and 1"),
    ],
)
def test_refuses(given_, message):
    with pytest.raises(ValueError, match=message):
        kaplan_meier(**given_)
