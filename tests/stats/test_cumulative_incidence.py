"""Returns by cause: a hand-worked example, a reference library on rows, one cause as plain follow-up, coverage."""

import tomllib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.survfunc import CumIncidenceRight

from rqa.stats import cumulative_incidence, kaplan_meier

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))["two_causes"]

# A row is one job: days followed, and the cause it came back for (0: not come back).
ROWS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 3)), min_size=1, max_size=60)


def counts(rows, causes=3):
    day, cause = (np.array(a) for a in zip(*rows, strict=True))
    return {
        "day": day,
        "returned": (cause[:, np.newaxis] == np.arange(1, causes + 1)).astype(int),
        "censored": (cause == 0).astype(int),
    }


def test_eight_subjects_by_hand():
    """survival package, tests/testci.R (seen): shares as fractions."""
    causes = [c * s for c, s in zip(EXAMPLE["cause"], EXAMPLE["status"], strict=True)]
    r = cumulative_incidence(**counts(list(zip(EXAMPLE["time"], causes, strict=True)), causes=2))
    for row in EXAMPLE["rows"]:
        at = r.day.tolist().index(row["time"])
        # 1e-15: a few products of fractions below 1.
        assert r.share[at] == pytest.approx([float(Fraction(*row["one"])), float(Fraction(*row["two"]))], abs=1e-15)
        assert 1 - r.total[at] == pytest.approx(float(Fraction(*row["free"])), abs=1e-15)


def test_one_minus_kaplan_meier_of_one_cause_is_not_its_share():
    """The same subjects: 1 - Kaplan-Meier of cause 2 alone reaches 2/5 and 1, the share 12/35 and 6/7."""
    causes = np.array(EXAMPLE["cause"]) * EXAMPLE["status"]
    naive = kaplan_meier(day=EXAMPLE["time"], returned=(causes == 2) * 1, censored=(causes != 2) * 1)
    for row in EXAMPLE["naive_two"]:
        assert naive.on_days(row["time"]).share[0] == pytest.approx(float(Fraction(*row["share"])), abs=1e-15)


@given(ROWS)
def test_statsmodels_agrees_on_rows(rows):
    day, cause = (np.array(a) for a in zip(*rows, strict=True))
    seen = int(cause.max())
    if seen == 0:
        return
    with np.errstate(all="ignore"):
        reference = CumIncidenceRight(day, cause)
    r = cumulative_incidence(**counts(rows))
    left = r.total < 1  # where all have returned statsmodels divides by 0
    for k in range(seen):
        assert r.share[:, k] == pytest.approx(reference.cinc[k], abs=1e-10)
        # Its variance is a difference of sums, which rounding can leave at -1e-17 or so: no 1e-10 at exactly 0.
        known = left & (r.se[:, k] > 1e-6)
        assert r.se[known, k] == pytest.approx(reference.cinc_se[k][known], abs=1e-10)


@given(ROWS, st.sampled_from(["greenwood", "aalen"]))
def test_variance_by_its_definition(rows, variance):
    """Delta method, day by day: F_k(t) moves with the day's return shares as S(before) (1{k} - P(k between)).

    The variance of a day's shares is multinomial ("greenwood") or Poisson ("aalen").
    """
    r = cumulative_incidence(**counts(rows), variance=variance)
    n, d = r.at_risk, r.returned
    for k in range(3):
        for t in range(r.day.size):
            total = 0.0
            for s in range(t + 1):
                before = 1 - r.total[s - 1] if s else 1.0
                after = 1 - r.total[s]
                later = (r.share[t, k] - r.share[s, k]) / after if after > 0 else 0.0
                pull = before * ((np.arange(3) == k) - later)
                a = d[s] / n[s]
                total += (pull**2 * a).sum() / n[s]
                if variance == "greenwood":
                    total -= (pull * a).sum() ** 2 / n[s]
            # 1e-12 on the variance: sums of up to 13 terms below 1.
            assert r.se[t, k] ** 2 == pytest.approx(total, abs=1e-12)


@given(ROWS)
def test_with_one_cause_it_is_kaplan_meier(rows):
    """The other causes are struck out, not made one: the cause alone must give the same digits, ends included."""
    rows = [(day, min(cause, 1)) for day, cause in rows]
    r = cumulative_incidence(**counts(rows, causes=1))
    table = counts(rows, causes=1)
    k = kaplan_meier(day=table["day"], returned=table["returned"][:, 0], censored=table["censored"])
    for name in ("share", "se", "low", "high"):
        assert getattr(r, name)[:, 0] == pytest.approx(getattr(k, name), abs=1e-12, nan_ok=True)
    assert r.total.tolist() == k.share.tolist()


@given(ROWS)
def test_shares_add_up_and_limits_hold_them(rows):
    r = cumulative_incidence(**counts(rows))
    assert r.share.sum(axis=1) == pytest.approx(r.total, abs=1e-12)
    # 1e-15: a share of a whole is a sum, so it may stand a rounding above the limit 1.
    assert ((r.low >= 0) & (r.low <= r.share) & (r.share <= r.high + 1e-15) & (r.high <= 1)).all()
    assert (r.high > 0).all()


def test_groups_day_zero_all_censored_and_nobody():
    r = cumulative_incidence(
        day=[0, 30],
        returned=[[[2, 0], [0, 3]], [[0, 0], [0, 0]], [[0, 0], [0, 0]], [[4, 0], [0, 0]]],
        censored=[[0, 0], [2, 7], [0, 0], [0, 0]],
    )
    assert r.share.shape == (4, 2, 2)
    assert r.share[0] == pytest.approx(np.array([[0.4, 0.0], [0.4, 0.6]]), abs=1e-15)
    assert (r.low[0, :, 0] > 0).all()
    assert r.low[0, 0, 1] == 0
    assert 0 < r.high[0, 0, 1] < 1
    assert r.share[1].tolist() == [[0, 0], [0, 0]]
    assert (r.high[1] > 0).all()
    assert np.isnan(r.share[2]).all()
    assert np.isnan(r.high[2]).all()
    assert r.share[3].tolist() == [[1, 0], [1, 0]]
    assert r.se[3].tolist() == [[0, 0], [0, 0]]
    assert 0 < r.low[3, 0, 0] < 1


def test_retirement_may_compete_or_censor():
    """10 jobs, 5 retired on day 1, 1 of the other 5 back on day 2: one in ten, or one in five of those in service."""
    competing = cumulative_incidence(day=[1, 2], returned=[[0, 5], [1, 0]], censored=[0, 4])
    censoring = cumulative_incidence(day=[1, 2], returned=[[0], [1]], censored=[5, 4])
    assert competing.share[-1, 0] == pytest.approx(0.1)
    assert censoring.share[-1, 0] == pytest.approx(0.2)


def test_read_off_on_a_day():
    r = cumulative_incidence(day=[3, 9], returned=[[1, 0], [0, 2]], censored=[1, 6])
    seen = r.on_days([0, 5, 9, 10])
    assert seen.share[:3].tolist() == [[0, 0], r.share[0].tolist(), r.share[1].tolist()]
    assert np.isnan(seen.share[3]).all()
    assert seen.at_risk.tolist() == [10, 8, 8, 0]


@pytest.mark.slow
def test_limits_cover_the_truth():
    """6,000 invented groups of 200 jobs, two causes of constant hazard, followed 0 to 60 days: day 40, both causes.

    Binomial error of a coverage of 0.95 over 6,000 groups is 0.0028, so 0.94 to 0.96 leaves three of them; limits of
    1.8 standard errors, which hold the truth in 92.8 %, would fall out.
    """
    rng = np.random.default_rng(20241)
    groups, jobs, hazard = 6_000, 200, np.array([0.004, 0.002])
    back = rng.geometric(hazard.sum(), (groups, jobs))
    cause = (rng.random((groups, jobs)) < hazard[1] / hazard.sum()).astype(int)
    followed = rng.integers(0, 61, (groups, jobs))
    came = back <= followed
    cells = np.arange(groups)[:, np.newaxis] * 61 + np.minimum(back, followed)
    returned = np.stack(
        [np.bincount(cells[came & (cause == k)], minlength=groups * 61).reshape(groups, 61) for k in (0, 1)], axis=-1
    )
    censored = np.bincount(cells[~came], minlength=groups * 61).reshape(groups, 61)
    truth = hazard / hazard.sum() * (1 - (1 - hazard.sum()) ** 40)
    for variance in ("greenwood", "aalen"):
        r = cumulative_incidence(day=np.arange(61), returned=returned, censored=censored, variance=variance)
        held = ((r.low[:, 40] <= truth) & (truth <= r.high[:, 40])).mean(axis=0)
        assert (held >= 0.94).all()
        assert (held <= 0.96).all()
        assert r.se[:, 40].mean(axis=0) == pytest.approx(r.share[:, 40].std(axis=0), rel=0.06)


def test_refuses():
    good = {"day": [1, 2], "returned": [[1, 0], [0, 1]], "censored": [0, 0]}
    with pytest.raises(ValueError, match="variance must be one of greenwood, aalen: 'gray'"):
        cumulative_incidence(**good, variance="gray")
    with pytest.raises(ValueError, match=r"\(groups, 2, causes\).*without causes: day \(2,\), returned \(2,\)"):
        cumulative_incidence(**{**good, "returned": [1, 0]})
