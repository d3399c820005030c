"""Gauge studies: the manual's study both ways, another library's table, coverage of limits, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from rqa.stats import gauge_rr
from rqa.stats.gauge_by_range import range_factor
from tests.printed import as_printed

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "agreement.toml").read_text("utf-8"))
GAUGE, RANGES = PUBLISHED["gauge"], PUBLISHED["gauge_by_range"]
STUDY = np.stack([GAUGE[who] for who in "ABC"], axis=1)


def test_the_manuals_study_by_analysis_of_variance():
    r = gauge_rr(STUDY)
    squares = GAUGE["squares"]
    assert as_printed(r.squares[[0, 2, 3]], [squares["appraiser"], squares["interaction"], squares["equipment"]], 5)
    assert as_printed(r.squares[1], squares["part"], 4)
    assert as_printed(r.squares.sum(), squares["total"], 5)
    assert r.degrees.tolist() == [2, 9, 18, 60]
    assert as_printed(r.f_interaction, GAUGE["f_interaction"], 3)
    assert r.pooled
    for i, name in enumerate(r.components):
        # The manual's sixth decimal of the gauge and of reproducibility is one off: it adds up rounded numbers.
        assert abs(r.sigma[i] - GAUGE["sigma"][name]) <= 2e-6
        assert as_printed(r.sigma[i], GAUGE["sigma_recomputed"][name], 7)
        if name != "total":
            assert as_printed(100 * r.of_total[i], GAUGE["percent"][name], 1)
            assert as_printed(100 * r.contribution[i], GAUGE["contribution"][name], 1)
    assert r.categories == GAUGE["categories"]
    assert round(r.category_ratio[0], 2) == 4.86


def test_the_manuals_study_by_averages_and_ranges():
    """The manual's factors are rounded to four decimals: the results differ by less than 1 in 4,000."""
    r = gauge_rr(STUDY, method="range")
    for i, name in enumerate(r.components):
        assert r.sigma[i] == pytest.approx(RANGES["sigma"][name], rel=2.5e-4)
        if name != "total":
            assert 100 * r.of_total[i] == pytest.approx(RANGES["percent"][name], abs=0.02)
    assert r.categories == RANGES["categories"]
    k = RANGES["factors"]
    assert as_printed(
        [1 / range_factor(3, 30), 1 / range_factor(3, 1), 1 / range_factor(10, 1)], [k["k1"], k["k2"], k["k3"]], 4
    )


def test_table_equals_another_library():
    part, who, _ = np.indices(STUDY.shape)
    frame = pd.DataFrame({"y": STUDY.ravel(), "part": part.ravel(), "who": who.ravel()})
    other = anova_lm(ols("y ~ C(who) + C(part) + C(who):C(part)", frame).fit())
    r = gauge_rr(STUDY)
    assert r.squares == pytest.approx(other["sum_sq"].to_numpy(), rel=1e-9)
    assert r.degrees.tolist() == other["df"].tolist()
    assert (r.f_interaction, r.p_interaction) == pytest.approx(tuple(other.iloc[2][["F", "PR(>F)"]]), rel=1e-9)


def test_interaction_kept_by_hand():
    """Expected mean squares of the crossed design, solved one by one."""
    r = gauge_rr(STUDY, interaction="kept")
    o, p, op, e = r.squares / r.degrees
    interaction = (op - e) / 3
    assert interaction < 0
    assert r.variance[1] == pytest.approx((o - op) / 30 + interaction, rel=1e-9)
    assert r.variance[3] == pytest.approx((p - op) / 9, rel=1e-9)
    assert not r.pooled


def test_limits_of_repeatability_are_exact():
    r = gauge_rr(STUDY, interaction="kept")
    ends = r.squares[3] / chi2.ppf([0.975, 0.025], 60)
    assert (r.low[0], r.high[0]) == pytest.approx(tuple(ends), rel=1e-9)


def simulated(rng, p=8, o=3, r=2, part=1.0, who=0.3, both=0.2, error=0.3):
    return (
        rng.normal(0, part, (p, 1, 1))
        + rng.normal(0, who, (1, o, 1))
        + rng.normal(0, both, (p, o, 1))
        + rng.normal(0, error, (p, o, r))
    )


@pytest.mark.slow
def test_limits_hold_the_truth_as_often_as_promised():
    """300 studies; 4 standard errors are 5 %. Modified large-sample limits are known to be a little wide."""
    rng = np.random.default_rng(2)
    truth = np.array([0.09, 0.13, 0.22, 1.0, 1.22])
    held, share = np.zeros(5), 0
    for _ in range(300):
        r = gauge_rr(simulated(rng), interaction="kept")
        held += (r.low <= truth) & (truth <= r.high)
        share += r.gauge_of_total[1] <= np.sqrt(0.22 / 1.22) <= r.gauge_of_total[2]
    assert ((held / 300 >= 0.90) & (held / 300 <= 1.0)).all()
    assert share / 300 >= 0.90


def test_tolerance_and_scale():
    one, two = gauge_rr(STUDY, tolerance=4), gauge_rr(10 + 2 * STUDY, tolerance=8)
    assert one.of_tolerance == pytest.approx(two.of_tolerance, rel=1e-9)
    assert one.of_tolerance[0] == pytest.approx(6 * one.sigma[2] / 4)
    assert two.variance == pytest.approx(4 * one.variance, rel=1e-9)
    assert one.of_tolerance[1] < one.of_tolerance[0] < one.of_tolerance[2]


def test_one_station_alone():
    r = gauge_rr(STUDY[:, :1])
    assert np.isnan([r.variance[1], r.low[1], r.f_interaction]).all()
    assert r.variance[2] == r.variance[0]
    assert r.categories > 0
    by_range = gauge_rr(STUDY[:, :1], method="range")
    assert np.isnan(by_range.sigma[1])
    assert by_range.sigma[2] == by_range.sigma[0]


def test_no_scatter():
    steady = gauge_rr(np.broadcast_to(np.arange(4.0)[:, None, None], (4, 2, 2)))
    assert steady.variance[:3].tolist() == [0, 0, 0]
    assert steady.categories is None
    assert steady.gauge_of_total[0] == 0
    same = gauge_rr(np.ones((3, 2, 2)))
    assert np.isnan(same.of_total).all()
    noise = gauge_rr(np.array([[[1, 2], [2, 1]], [[2, 1], [1, 2]]]))
    assert noise.categories == 0


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (np.ones((3, 2)), "parts x appraisers x trials"),
        (np.ones((1, 2, 2)), "at least two parts"),
        (np.ones((2, 2, 1)), "two trials"),
        (np.where(np.indices((2, 2, 2)).sum(axis=0) == 3, np.nan, 1.0), "1 missing, first at part 1"),
    ],
)
def test_refused(values, message):
    with pytest.raises(ValueError, match=message):
        gauge_rr(values)


def test_refused_tolerance():
    with pytest.raises(ValueError, match="tolerance must be above 0"):
        gauge_rr(STUDY, tolerance=0)
