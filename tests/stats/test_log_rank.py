"""Groups by pace of return: a published test, a reference library on rows, landmarks, the level kept."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.duration.survfunc import survdiff

from rqa.stats import log_rank

REMISSION = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))["remission"]

# A row is one job: days followed, come back or not, group, stratum.
ROWS = st.lists(
    st.tuples(st.integers(0, 12), st.booleans(), st.integers(0, 2), st.integers(0, 1)), min_size=12, max_size=80
)
STATSMODELS = {
    "log-rank": (None, {}),
    "gehan": ("gb", {}),
    "tarone-ware": ("tw", {}),
    "fleming-harrington": ("fh", {"fh_p": 1}),
}


def table(rows, *, strata=False):
    """Counts of shape strata x groups x rows: each row is a day of its own, which the test sums."""
    day, back, group, stratum = (np.array(a) for a in zip(*rows, strict=True))
    returned = np.zeros((2, 3, len(rows)), dtype=int)
    censored = np.zeros_like(returned)
    at = (stratum, group, np.arange(len(rows)))
    returned[at], censored[at] = back, ~back
    if not strata:
        returned, censored = returned.sum(axis=0), censored.sum(axis=0)
    return {"day": day, "returned": returned, "censored": censored}


def test_remission():
    """Freireich 1963 / Gehan 1965: chi-square 16.79 from memory; expected and variance recomputed."""
    week = REMISSION["treated_weeks"] + REMISSION["control_weeks"]
    returned, censored = np.zeros((2, 2, 42), dtype=int)
    returned[0, :21], returned[1, 21:] = REMISSION["treated_relapsed"], REMISSION["control_relapsed"]
    censored[0, :21], censored[1, 21:] = 1 - returned[0, :21], 1 - returned[1, 21:]
    r = log_rank(day=week, returned=returned, censored=censored)
    assert abs(r.statistic - REMISSION["log_rank"]) <= 0.005
    assert r.degrees_of_freedom == 1
    assert abs(r.p_value - REMISSION["p_value"]) <= 0.5e-7
    assert r.observed.tolist() == REMISSION["observed"]
    assert np.abs(r.expected - REMISSION["expected"]).max() <= 0.005
    assert abs(r.covariance[0, 0] - REMISSION["variance"]) <= 0.5e-4


@given(ROWS, st.sampled_from(list(STATSMODELS)), st.booleans())
def test_statsmodels_agrees_on_rows(rows, weights, strata):
    r = log_rank(**table(rows, strata=strata), weights=weights)
    day, back, group, stratum = (np.array(a) for a in zip(*rows, strict=True))
    assume(r.degrees_of_freedom == 2)  # it cannot leave out a group that is never compared
    if strata:
        assume(all(len({g for *_, g, s in rows if s == part}) == 3 for part in (0, 1)))
    name, more = STATSMODELS[weights]
    with np.errstate(all="ignore"):
        statistic, p = survdiff(day, back.astype(int), group, name, stratum if strata else None, **more)
    assume(np.isfinite(statistic))
    # 1e-8 of the statistic: both solve a 2 x 2 system that may be close to singular.
    assert r.statistic == pytest.approx(statistic, rel=1e-8, abs=1e-10)
    assert r.p_value == pytest.approx(p, abs=1e-8)


@given(ROWS)
def test_scipy_agrees_on_two_groups(rows):
    rows = [(day, back, min(group, 1), 0) for day, back, group, _ in rows]
    r = log_rank(**table(rows))
    assume(r.degrees_of_freedom == 1)
    sides = [
        stats.CensoredData(
            uncensored=[d for d, back, g, _ in rows if g == group and back],
            right=[d for d, back, g, _ in rows if g == group and not back],
        )
        for group in (0, 1)
    ]
    reference = stats.logrank(*sides)
    assert r.statistic == pytest.approx(reference.statistic**2, abs=1e-10)
    assert r.p_value == pytest.approx(reference.pvalue, abs=1e-10)


@given(ROWS, st.sampled_from(list(STATSMODELS)))
def test_order_of_groups_changes_nothing(rows, weights):
    counts = table(rows)
    r = log_rank(**counts, weights=weights)
    turned = {**counts, "returned": counts["returned"][::-1], "censored": counts["censored"][::-1]}
    again = log_rank(**turned, weights=weights)
    assert again.observed.tolist() == r.observed.tolist()[::-1]
    assert again.p_value == pytest.approx(r.p_value, abs=1e-9, nan_ok=True)
    assert r.expected.sum() == pytest.approx(r.observed.sum(), abs=1e-9)


def test_late_weights():
    """Curves that part only after day 50: late weights see it, early ones hardly; both powers at 0 are the log-rank."""
    day = [10, 20, 30, 60, 70, 80, 90]
    returned = [[10, 10, 10, 3, 2, 3, 0], [10, 10, 10, 9, 9, 8, 0]]
    censored = [[0] * 6 + [62], [0] * 6 + [44]]
    counts = {"day": day, "returned": returned, "censored": censored}
    plain = log_rank(**counts)
    flat = log_rank(**counts, weights="fleming-harrington", rho=0, gamma=0)
    late = log_rank(**counts, weights="fleming-harrington", rho=0, gamma=1)
    early = log_rank(**counts, weights="fleming-harrington", rho=4)
    assert flat.statistic == pytest.approx(plain.statistic, abs=1e-12)
    assert late.p_value < plain.p_value < early.p_value


def test_an_empty_group_costs_nothing():
    counts = {"day": [1, 2, 3], "returned": [[3, 1, 0], [1, 1, 0]], "censored": [[0, 0, 6], [0, 0, 9]]}
    r = log_rank(**counts)
    with_empty = log_rank(
        day=counts["day"],
        returned=[*counts["returned"], [0, 0, 0]],
        censored=[*counts["censored"], [0, 0, 0]],
    )
    assert with_empty.degrees_of_freedom == r.degrees_of_freedom == 1
    assert with_empty.statistic == pytest.approx(r.statistic, abs=1e-12)
    assert with_empty.expected[2] == 0


@pytest.mark.parametrize(
    ("returned", "censored"),
    [
        ([[0, 0], [0, 0]], [[4, 4], [5, 5]]),  # nobody came back
        ([[3, 0], [0, 0]], [[0, 2], [0, 0]]),  # one group only
        ([[2, 0], [3, 0]], [[0, 0], [0, 0]]),  # all came back on one day
        ([[0, 0], [0, 0]], [[0, 0], [0, 0]]),  # nobody at all
        (np.zeros((0, 2)), np.zeros((0, 2))),  # no group
    ],
)
def test_nothing_to_compare(returned, censored):
    r = log_rank(day=[1, 2], returned=returned, censored=censored)
    assert r.degrees_of_freedom == 0
    assert np.isnan(r.statistic)
    assert np.isnan(r.p_value)


def test_strata_that_share_no_group():
    """Groups 1 and 2 meet in one stratum, 3 and 4 in the other: two comparisons, whose statistics add up."""
    returned = np.zeros((2, 4, 3), dtype=int)
    censored = np.zeros_like(returned)
    returned[0, :2], returned[1, 2:] = [[3, 1, 0], [1, 1, 0]], [[0, 5, 0], [4, 2, 0]]
    censored[0, :2, 2], censored[1, 2:, 2] = [6, 9], [20, 10]
    r = log_rank(day=[1, 2, 3], returned=returned, censored=censored)
    parts = [
        log_rank(day=[1, 2, 3], returned=returned[0, :2], censored=censored[0, :2]),
        log_rank(day=[1, 2, 3], returned=returned[1, 2:], censored=censored[1, 2:]),
    ]
    assert r.degrees_of_freedom == 2
    assert r.statistic == pytest.approx(sum(part.statistic for part in parts), abs=1e-10)


@pytest.mark.parametrize("weights", list(STATSMODELS))
def test_level_is_kept(weights):
    """400 sets of three like groups of 60: p below 0.10 in about a tenth (three standard errors are 0.045)."""
    rng = np.random.default_rng(7)
    small = 0
    for _ in range(400):
        back, followed = rng.geometric(0.02, (3, 60)), rng.integers(10, 60, (3, 60))
        came, day = back <= followed, np.minimum(back, followed)
        returned = np.stack([np.bincount(day[g][came[g]], minlength=61) for g in range(3)])
        censored = np.stack([np.bincount(day[g][~came[g]], minlength=61) for g in range(3)])
        small += log_rank(day=np.arange(61), returned=returned, censored=censored, weights=weights).p_value < 0.10
    assert abs(small / 400 - 0.10) <= 0.045


def test_refuses():
    with pytest.raises(ValueError, match=r"must hold groups and days, in this order: shape \(1,\)"):
        log_rank(day=[1], returned=[1], censored=[0])
    with pytest.raises(ValueError, match="weights must be one of log-rank, gehan"):
        log_rank(day=[1], returned=[[1]], censored=[[0]], weights="peto")
    with pytest.raises(ValueError, match="rho must be at least 0"):
        log_rank(day=[1], returned=[[1]], censored=[[0]], weights="fleming-harrington", rho=-1)
