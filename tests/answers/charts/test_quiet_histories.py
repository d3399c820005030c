"""Charts of histories in which nothing happens: months that differ at random, a season, and one bad month.

Each history is 24 months of a share; the chart is the one that is chosen for it. The promise, of near-normal points
that share one level, is a false alarm in 12.8 % of 24 months (`false_alarm_chance`).
"""

from datetime import date

import numpy as np
import pytest

from rqa.answers.charts.chart_basis import ChartSettings
from rqa.answers.charts.chart_rules import rules_named
from rqa.answers.charts.chart_series import Series
from rqa.answers.charts.chart_types import make
from rqa.answers.charts.season import season
from rqa.spc import false_alarm_chance

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
    days = [date(2023 + i // 12, i % 12 + 1, 15) for i in range(36)]
    day = np.array([d.timetuple().tm_yday for d in days])
    values = 0.1 + 0.02 * np.cos(2.0 * np.pi * (day - 74) / 365.25) + rng.normal(0.0, 0.001, 36)
    found = season(values, np.ones(36), days)
    assert found is not None
    assert found.peak == "March"
    assert found.height == pytest.approx(0.02, rel=0.05)
    assert "highest about March, by 20 % of the middle" in found.said(0.1)
    named = [season(rng.normal(0.1, 0.01, 36), np.ones(36), days) is not None for _ in range(400)]
    # Three standard errors of 0.05 of 400 are 0.033.
    assert 0.017 <= np.mean(named) <= 0.083
    assert season(values[:19], np.ones(19), days[:19]) is None
    assert season(np.full(36, 0.1), np.ones(36), days) is None
