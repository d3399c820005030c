"""Interrupted series against a reference library's binomial regression, and simulation."""

import numpy as np
import pytest
import statsmodels.api as sm

from rqa.stats import interrupted_series

X = np.array([8, 9, 7, 10, 8, 9, 8, 7, 9, 8, 10, 8, 3, 4, 3, 5, 3, 4])
N = np.array([100, 110, 90, 120, 95, 105, 100, 98, 102, 100, 115, 90, 100, 101, 99, 120, 80, 100])


def theirs(x, n, cut, time, scale):
    t = time - time[0]
    after = np.arange(x.size) >= cut
    design = np.stack([np.ones(x.size), t, after, after * (time - time[cut])], axis=1).astype(float)
    model = sm.GLM(np.stack([x, n - x], axis=1), design, family=sm.families.Binomial())
    return model.fit(scale=scale, tol=1e-14)


@pytest.mark.parametrize("time", [np.arange(18.0), np.delete(np.arange(19.0), 12)])
def test_statsmodels_agrees(time):
    r, t = interrupted_series(count=X, size=N, first_after=12, place=time), theirs(X, N, 12, time, None)
    # Both iterate to convergence; the last digits are those of the linear algebra.
    assert r.estimate == pytest.approx(t.params, rel=1e-7, abs=1e-9)
    assert r.se == pytest.approx(t.bse, rel=1e-6)
    assert r.p_value == pytest.approx(t.pvalues, rel=1e-5)
    assert r.fitted == pytest.approx(t.fittedvalues, rel=1e-8)
    assert r.dispersion == 1.0
    assert r.either_p == pytest.approx(float(t.wald_test(np.eye(4)[2:], scalar=True).pvalue), rel=1e-6)


def test_overdispersion_widens_the_limits():
    x = np.array([2, 18, 5, 15, 3, 17, 8, 14, 1, 16, 6, 13, 9, 1, 12, 2, 10, 3])
    r = interrupted_series(count=x, size=N, first_after=12)
    # The library's own "X2" leaves out the number of cases of each period; here is Pearson's from its fit.
    mu = theirs(x, N, 12, np.arange(18.0), None).fittedvalues
    scale = ((x - N * mu) ** 2 / (N * mu * (1 - mu))).sum() / (18 - 4)
    t = theirs(x, N, 12, np.arange(18.0), scale)
    assert r.dispersion == pytest.approx(scale, rel=1e-6)
    assert r.dispersion > 2
    assert r.se == pytest.approx(t.bse, rel=1e-6)
    assert ((r.high - r.low) > 2 * 1.96 * r.se).all()


def test_the_trend_before_is_drawn_on():
    r = interrupted_series(count=X, size=N, first_after=12)
    assert (r.unchanged[:12] == r.fitted[:12]).all()
    assert (r.unchanged[12:] > r.fitted[12:]).all()
    assert ((r.unchanged_low < r.unchanged) & (r.unchanged < r.unchanged_high)).all()


def test_no_event_on_one_side_is_no_fit():
    r = interrupted_series(count=[*X[:12], 0, 0, 0, 0], size=N[:16], first_after=12)
    assert np.isnan([r.dispersion, r.either_p, *r.estimate, *r.fitted]).all()


def test_without_change_it_claims_one_in_twenty():
    """400 series with a trend and no change; 3 standard errors of 5 % are 3.3 points."""
    rng = np.random.default_rng(8)
    share = 1 / (1 + np.exp(-(-2.4 + 0.03 * np.arange(24))))
    claimed = [
        interrupted_series(count=rng.binomial(300, share), size=[300] * 24, first_after=15).either_p < 0.05
        for _ in range(400)
    ]
    assert np.mean(claimed) <= 0.05 + 0.033


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"first_after": 2}, "first_after"),
        ({"first_after": 16}, "three periods on each side"),
        ({"place": [0] * 18}, "rising time"),
        ({"count": [[1, 2]], "size": [[3, 4]]}, "one axis"),
        ({"level": 1.0}, "level"),
    ],
)
def test_bad_arguments(how, said):
    with pytest.raises(ValueError, match=said):
        interrupted_series(**{"count": X, "size": N, "first_after": 12, **how})
