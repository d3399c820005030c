"""p' and u' charts: the open example, their limits of both kinds, simulated promise, landmarks."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from rqa.spc import laney_p_chart, laney_u_chart, p_chart, u_chart

MOTORS = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))["laney_motors"]
D2 = 2 / math.sqrt(math.pi)


def test_motors():
    """NIST data file CCP.DAT (data seen), Laney 2002 (formula from memory), figures recomputed."""
    chart = laney_p_chart(count=MOTORS["defective"], size=MOTORS["inspected"])
    plain = p_chart(count=MOTORS["defective"], size=MOTORS["inspected"])
    z = (plain.values - plain.centre) / plain.sigma
    assert abs((z**2).sum() - MOTORS["sum_of_squares_of_z"]) <= 0.5e-3
    assert abs(np.abs(np.diff(z)).mean() - MOTORS["mean_step_of_z"]) <= 0.5e-6
    assert abs(chart.sigma_z[0] - MOTORS["sigma_z"]) <= 0.5e-6
    # The same with d2 rounded to 1.128, as tables have it.
    assert abs(chart.sigma_z[0] * D2 / 1.128 - MOTORS["sigma_z_with_1128"]) <= 0.5e-6
    assert abs(chart.upper[13] - MOTORS["upper_of_14"]) <= 0.5e-4
    widened = 3 * chart.sigma[13] * D2 / 1.128
    assert abs(chart.centre[13] + widened - MOTORS["upper_of_14_with_1128"]) <= 0.5e-4
    assert [s.index + 1 for s in chart.signals] == MOTORS["out"]
    assert chart.sigma == pytest.approx(plain.sigma * chart.sigma_z, rel=1e-14)
    assert chart.centre.tolist() == plain.centre.tolist()


@pytest.mark.parametrize("kind", ["p", "u"])
def test_sigma_z_of_independent_jobs_is_one(kind):
    """3,000 periods of one chance: sigma_z is 1 within 5 standard errors, 0.91 / sqrt(n)."""
    rng = np.random.default_rng(8)
    size = rng.integers(200, 400, 3_000)
    count = rng.binomial(size, 0.2) if kind == "p" else rng.poisson(size * 0.2)
    chart = (laney_p_chart if kind == "p" else laney_u_chart)(count=count, size=size)
    assert abs(chart.sigma_z[0] - 1) < 5 * 0.91 / math.sqrt(3_000)


@pytest.mark.parametrize("kind", ["p", "u"])
def test_periods_of_differing_chance_are_seldom_called_out(kind):
    """Chance itself normal from month to month: about 0.27 % out of 3,000, where the plain chart calls a fifth out."""
    rng = np.random.default_rng(9)
    size = np.full(3_000, 4_000)
    chance = np.clip(rng.normal(0.1, 0.012, 3_000), 0.01, 0.3)
    count = rng.binomial(size, chance) if kind == "p" else rng.poisson(size * chance)
    widened = (laney_p_chart if kind == "p" else laney_u_chart)(count=count, size=size)
    plain = (p_chart if kind == "p" else u_chart)(count=count, size=size)
    assert len(widened.signals) <= 8.1 + 5 * math.sqrt(8.1)
    assert len(plain.signals) > 300
    assert any("Laney's" in w for w in plain.warnings)


def test_a_period_without_jobs_breaks_the_chain():
    chart = laney_p_chart(count=[5, 9, 0, 4, 6], size=[100, 100, 0, 100, 100])
    assert np.isnan([chart.values[2], chart.lower[2], chart.upper[2], chart.sigma[2]]).all()
    sigma = math.sqrt(0.06 * 0.94 / 100)
    assert chart.sigma_z[0] == pytest.approx((0.04 + 0.02) / sigma / 2 / D2, rel=1e-12)


@pytest.mark.parametrize("share", [0, 1])
def test_none_or_all(share):
    chart = laney_p_chart(count=[share * 20] * 4, size=20)
    for line in (chart.values, chart.centre, chart.lower, chart.upper):
        assert line.tolist() == [share] * 4
    assert chart.sigma_z.tolist() == [1.0] * 4
    assert chart.signals == ()


def test_no_event_in_u():
    chart = laney_u_chart(count=[0, 0, 0, 2], size=10.0, baseline=slice(0, 3))
    assert chart.upper.tolist() == [0.0] * 4
    assert [s.index for s in chart.signals] == [3]


def test_one_period_or_no_neighbours():
    for count, size in (([5], [100]), ([5, 0, 7], [100, 0, 100])):
        chart = laney_p_chart(count=count, size=size)
        assert np.isnan([*chart.lower, *chart.upper]).all()
        assert chart.signals == ()
        assert any("there are no limits" in w for w in chart.warnings)
    assert laney_p_chart(count=[], size=[]).values.tolist() == []


def test_less_spread_than_chance_is_told():
    chart = laney_p_chart(count=[50, 51, 50, 49, 50, 50], size=500)
    assert chart.sigma_z[0] < 0.3
    assert any("spread less than chance" in w for w in chart.warnings)


def test_stages_have_a_spread_of_their_own():
    count = [40, 80, 30, 90, 60, 62, 61, 60]
    chart = laney_p_chart(count=count, size=1_000, stages=[4])
    first, second = laney_p_chart(count=count[:4], size=1_000), laney_p_chart(count=count[4:], size=1_000)
    assert chart.sigma_z.tolist() == [first.sigma_z[0]] * 4 + [second.sigma_z[0]] * 4
    assert chart.upper.tolist() == [*first.upper, *second.upper]
