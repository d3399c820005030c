"""Limits from a wanted run length, false alarms of a set of rules, and the time until a change is seen."""

import numpy as np
import pytest

from rqa.spc import (
    MONTHLY,
    WESTERN_ELECTRIC,
    BernoulliDesign,
    CusumDesign,
    EwmaDesign,
    RiskAdjustedDesign,
    SharePoints,
    ShewhartDesign,
    beyond_limits,
    false_alarm_chance,
    limit_for,
    periods_to_detect,
    run_length,
    share_shift,
)
from tests.published_runs import RUNS


@pytest.mark.parametrize(
    ("design", "wanted"),
    [
        (ShewhartDesign(rules=(beyond_limits,)), 370.3983473449588),
        (ShewhartDesign(rules=WESTERN_ELECTRIC), 60.0),
        (ShewhartDesign(rules=(beyond_limits,)), 2.0),
        (EwmaDesign(weight=0.1), 500.0),
        (EwmaDesign(weight=0.4, limits="asymptotic"), 36.0),
        (CusumDesign(k=0.5), 370.0),
        (CusumDesign(k=0.25, h=1.0, headstart=0.5, arms="above"), 5000.0),
        (RiskAdjustedDesign(expected=[0.02, 0.1, 0.3], h=4), 1000.0),
    ],
    ids=lambda value: getattr(type(value), "__name__", value),
)
def test_there_and_back(design, wanted):
    found = limit_for(design, run_length=wanted)
    assert run_length(found).mean == pytest.approx(wanted, rel=1e-6)
    assert type(found) is type(design)


def test_published_limits():
    """The tables read the other way: 3 sigma for 370.4; h = 5 for the recomputed 465.4; width 2.814 for 500."""
    assert limit_for(ShewhartDesign(rules=(beyond_limits,)), run_length=370.40).width == pytest.approx(3.0, abs=1e-5)
    assert limit_for(CusumDesign(k=0.5), run_length=465.44).h == pytest.approx(5.0, abs=1e-5)
    for row in RUNS["ewma_run_lengths"]["rows"]:
        found = limit_for(EwmaDesign(weight=row["weight"], limits="asymptotic"), run_length=500).width
        assert found == pytest.approx(row["width"], abs=6e-4)


def test_a_headstart_keeps_its_share():
    found = limit_for(CusumDesign(k=0.5, h=4, headstart=2), run_length=200)
    assert found.headstart == pytest.approx(found.h / 2)


def test_limits_where_run_lengths_come_in_steps():
    """The least limit that is long enough: a hair less is too short."""
    job = limit_for(BernoulliDesign(p0=0.05, p1=0.1, reference=1 / 14), run_length=1000)
    assert (
        run_length(job).mean
        >= 1000
        > run_length(BernoulliDesign(p0=0.05, p1=0.1, reference=1 / 14, h=job.h - 1 / 14)).mean
    )
    points = SharePoints(size=50, centre=0.08)
    shewhart = limit_for(ShewhartDesign(rules=(beyond_limits,)), run_length=370, points=points)
    less = ShewhartDesign(rules=(beyond_limits,), width=shewhart.width * (1 - 1e-7))
    assert run_length(shewhart, points=points).mean >= 370 > run_length(less, points=points).mean


def test_what_no_limit_can_give():
    """Runs of eight alone end runs after 255 points on average (2^8 - 1), however wide the limits."""
    with pytest.raises(ValueError, match="run_length must be at most 255, as the other rules end runs that soon: 400"):
        limit_for(ShewhartDesign(rules=MONTHLY), run_length=400)
    with pytest.raises(ValueError, match="rules must hold the rule about the limits"):
        limit_for(ShewhartDesign(rules=WESTERN_ELECTRIC[1:]), run_length=100)
    with pytest.raises(ValueError, match=r"run_length must be above 1 and at most 1e\+15: 1"):
        limit_for(CusumDesign(), run_length=1)
    with pytest.raises(ValueError, match=r"run_length must be at least 1\.622, the least this chart has: 1\.5"):
        limit_for(CusumDesign(k=0.5), run_length=1.5)


def test_false_alarms():
    """Against the Champ and Woodall chance of the limits, 0.0027 a point, and the exact chance of eight in a row."""
    assert false_alarm_chance((beyond_limits,), points=12) == pytest.approx(
        1 - (1 - 0.0026997960632602) ** 12, rel=1e-9
    )
    assert false_alarm_chance(MONTHLY[1:], points=8) == pytest.approx(2 * 0.5**8, rel=1e-12)
    one = false_alarm_chance(points=12)
    assert false_alarm_chance(charts=30) == pytest.approx(1 - (1 - one) ** 30, rel=1e-12)
    assert false_alarm_chance(WESTERN_ELECTRIC) > one > false_alarm_chance((beyond_limits,))
    assert false_alarm_chance(points=0) == 0.0
    assert false_alarm_chance(charts=0) == 0.0


def test_false_alarms_simulated():
    """The share of months' charts with an alarm in their first year, by the rules themselves."""
    from rqa.spc import Chart, signal_masks

    z = np.random.default_rng(12).normal(size=(20_000, 12))
    ones = np.ones(z.shape)
    masks = signal_masks(Chart(values=z, centre=0 * ones, lower=-3 * ones, upper=3 * ones, sigma=ones))
    alarmed = np.any([mask.any(axis=1) for sides in masks.values() for mask in sides.values()], axis=0).mean()
    expected = false_alarm_chance()
    assert abs(alarmed - expected) <= 4 * np.sqrt(expected * (1 - expected) / len(z))


def test_share_shift():
    found = share_shift(before=0.05, after=0.08, size=300)
    sigma = (0.05 * 0.95 / 300) ** 0.5
    assert found.shift == pytest.approx(0.03 / sigma, rel=1e-12)
    assert found.spread == pytest.approx((0.08 * 0.92 / 300) ** 0.5 / sigma, rel=1e-12)


@pytest.mark.parametrize(
    "design",
    [ShewhartDesign(), CusumDesign(h=4, headstart=2), EwmaDesign(weight=0.2), BernoulliDesign(p0=0.05, p1=0.1)],
)
def test_detection(design):
    """More jobs a period, and a larger change, are seen sooner; a change of nothing is the false alarm."""
    usual = periods_to_detect(design, before=0.05, after=0.08, size=300)
    larger = periods_to_detect(design, before=0.05, after=0.12, size=300)
    busier = periods_to_detect(design, before=0.05, after=0.08, size=900)
    assert larger.mean < usual.mean
    assert busier.mean < usual.mean < usual.false_alarm_mean
    assert usual.median <= usual.within
    nothing = periods_to_detect(design, before=0.05, after=0.05, size=300)
    assert nothing.mean == pytest.approx(nothing.false_alarm_mean, rel=1e-12)


def test_detection_in_periods():
    by_month = periods_to_detect(ShewhartDesign(), before=0.05, after=0.08, size=300, chance=0.8)
    asked = run_length(ShewhartDesign(), points=SharePoints(size=300, centre=0.05, share=0.08))
    assert (by_month.mean, by_month.within, by_month.chance) == (asked.mean, asked.quantile(0.8), 0.8)
    design = BernoulliDesign(p0=0.05, p1=0.1)
    by_job = periods_to_detect(design, before=0.05, after=0.1, size=40)
    jobs = run_length(design, share=0.1)
    assert by_job.mean == pytest.approx(jobs.mean / 40)
    assert by_job.within == np.ceil(jobs.quantile(0.9) / 40)
    with pytest.raises(ValueError, match=r"a RiskAdjustedDesign is asked by run_length\(design, odds=…\)"):
        periods_to_detect(RiskAdjustedDesign(expected=[0.1]), before=0.1, after=0.2, size=10)
    with pytest.raises(ValueError, match="size must be one whole number of at least 1: 0"):
        periods_to_detect(CusumDesign(), before=0.1, after=0.2, size=0)
