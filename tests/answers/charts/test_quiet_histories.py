"""Charts of histories in which nothing happens: months that differ at random, a season, and one bad month.

Each history is 24 months of a share; the chart is the one that is chosen for it. The promise, of near-normal points
that share one level, is a false alarm in 12.8 % of 24 months (`false_alarm_chance`).
"""

from datetime import date

import numpy as np
import polars as pl
import pytest

from rqa.answers.charts.chart_basis import ChartSettings
from rqa.answers.charts.chart_rules import rules_named
from rqa.answers.charts.chart_series import Series
from rqa.answers.charts.chart_types import make
from rqa.answers.charts.month import _compare, _spread_of_months
from rqa.answers.charts.season import MONTHS as NAMES
from rqa.answers.charts.season import season
from rqa.spc import false_alarm_chance
from rqa.stats import proportion_test

MONTHS = tuple(date(2024 + i // 12, i % 12 + 1, 1) for i in range(24))
RULES = rules_named("control_chart", "few")


def chart(rng, *, share=0.09, jobs, spread=0.0, wave=0.0, last=1.0):
    true = share * (1.0 + wave * np.sin(2.0 * np.pi * (np.arange(24) + rng.integers(12)) / 12.0))
    if spread:
        true = true * rng.gamma(spread**-2, spread**2, 24)
    true[-1] *= last
    size = np.maximum(rng.poisson(jobs, 24), 1)
    count = rng.binomial(size, np.clip(true, 0.0, 1.0))
    series = Series((), MONTHS, size, np.ones(24, dtype=bool), {"count": count, "size": size})
    return make(series, "share", chart="auto", limits=None, rules=RULES, basis=ChartSettings())


@pytest.mark.parametrize(("jobs", "spread"), [(100, 0.0), (800, 0.0), (300, 0.15), (800, 0.15)])
def test_months_that_differ_at_random_raise_no_more_alarms_than_promised(jobs, spread):
    """Of 120 histories some 12; 44 and 40 % of those that differ did where limits were those of chance unless p < 0.01.

    Three standard errors of 0.128 of 120 are 0.091.
    """
    rng = np.random.default_rng([jobs, 5])
    alarms = [any(chart(rng, jobs=jobs, spread=spread).signal) for _ in range(120)]
    promised = false_alarm_chance(RULES, points=24)
    assert promised == pytest.approx(0.128, abs=0.001)
    assert np.mean(alarms) <= promised + 0.091


def test_a_season_is_named_where_it_raises_alarms():
    rng = np.random.default_rng(2)
    made = [chart(rng, jobs=800, wave=0.25) for _ in range(60)]
    alarms = [c for c in made if any(c.signal)]
    assert len(alarms) > 20
    unsaid = [c for c in alarms if c.promised]
    assert len(unsaid) <= 2
    assert sum("The points follow the season" in " ".join(c.notes) for c in made) > 50


def test_a_bad_month_is_still_seen():
    rng = np.random.default_rng(3)
    seen = [bool(chart(rng, jobs=300, last=2.0).signal[-1]) for _ in range(60)]
    assert np.mean(seen) > 0.85


def test_a_season_is_a_wave_of_a_year():
    """The peak and the height of a wave without noise but a trace; noise alone names one in twenty."""
    rng = np.random.default_rng(4)
    days = [date(2023 + i // 12, i % 12 + 1, 1) for i in range(36)]
    middle = np.array([d.timetuple().tm_yday + 14 for d in days])
    for month, name in enumerate(NAMES):
        wave = np.cos(2.0 * np.pi * (middle - middle[month]) / 365.25)
        values = 0.1 + 0.02 * wave + rng.normal(0.0, 0.001, 36)
        found = season(values, np.ones(36), days)
        assert found is not None
        assert found.peak == name
    values = 0.1 + 0.02 * np.cos(2.0 * np.pi * (middle - middle[2]) / 365.25) + rng.normal(0.0, 0.001, 36)
    found = season(values, np.ones(36), days)
    assert found is not None
    assert found.height == pytest.approx(0.02, rel=0.05)
    assert "highest about March, by 20 % of the middle" in found.said(0.1)
    named = [season(rng.normal(0.1, 0.01, 36), np.ones(36), days) is not None for _ in range(400)]
    # Three standard errors of 0.05 of 400 are 0.033.
    assert 0.017 <= np.mean(named) <= 0.083
    assert season(values[:19], np.ones(19), days[:19]) is None
    assert season(np.full(36, 0.1), np.ones(36), days) is None


@pytest.mark.parametrize(("jobs", "spread", "last"), [
    (100, 0.0, 1.0), (800, 0.15, 1.0), (300, 0.0, 1.8),
])
def test_a_month_differs_from_the_year_before_as_rarely_as_promised(jobs, spread, last):
    """Of 160 months 8 that are like the year before; where months vary by 15 %, 22 % by single cases.

    Three standard errors of 0.05 of 160 are 0.052.
    """
    rng = np.random.default_rng([jobs, 9])
    said, single = [], []
    for _ in range(160):
        true = np.full(13, 0.09) * (rng.gamma(spread**-2, spread**2, 13) if spread else 1.0)
        true[-1] *= last
        size = np.maximum(rng.poisson(jobs, 13), 1)
        table = pl.DataFrame({
            "month": [*MONTHS[:12], date(2025, 1, 1)], "returned": rng.binomial(size, true), "matured": size,
        })
        r = _compare("comebacks", date(2025, 1, 1), True, table[12:], table[:12], 0.95, 1.0)
        said.append(r.more_than_luck)
        test = proportion_test(successes1=r.count, trials1=r.size, successes2=r.before_count, trials2=r.before_size)
        single.append(float(test.p_value) < 0.05)
        assert r.more_than_luck == (not r.difference_low <= 0.0 <= r.difference_high) or 0.02 < r.p_value < 0.08
    assert (np.mean(said) > 0.85) if last > 1.0 else (np.mean(said) <= 0.05 + 0.052)
    assert np.mean(single) > 0.12 or not spread


def test_how_much_months_vary_is_pearson_s_statistic():
    count, size = np.array([4, 9, 2, 12, 6, 5, 8]), np.array([90, 100, 80, 110, 95, 100, 105])
    share = count.sum() / size.sum()
    by_hand = sum((x - n * share) ** 2 / (n * share * (1 - share)) for x, n in zip(count, size, strict=True)) / 6
    assert _spread_of_months(count, size) == pytest.approx(by_hand, rel=1e-12)
    assert by_hand > 1.0
    assert _spread_of_months(count[:5], size[:5]) == 1.0
    assert _spread_of_months(count * 0, size) == 1.0
