"""The rate a month will have: its definition job by job, landmarks, and a back-test against what came true."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rqa.stats import kaplan_meier, month_spread, projected_share, proportion_interval
from rqa.stats.count_limits import count_limits

# A row is one job: days followed, and whether it came back on the last of them.
JOBS = st.lists(st.tuples(st.integers(0, 12), st.booleans()), min_size=1, max_size=30)
RECENT = st.lists(st.tuples(st.integers(0, 9), st.booleans()), min_size=1, max_size=40)


def from_rows(rows):
    day, back = (np.array(a) for a in zip(*rows, strict=True))
    return {"day": day, "returned": back.astype(int), "censored": (~back).astype(int)}


def pooled_curve(rows):
    """Recent months with three jobs more that were followed to the window."""
    return kaplan_meier(**from_rows([*rows, (10, False), (10, False), (11, False)]))


def hazards(curve, upto):
    on = dict(zip(curve.day.tolist(), zip(curve.returned.tolist(), curve.at_risk.tolist(), strict=True), strict=True))
    return {s: (d / n, n) for s, (d, n) in on.items() if s <= upto and n}


@given(JOBS, RECENT, st.floats(0, 1.5))
def test_job_by_job(rows, recent, spread):
    """The definition by a loop over jobs; the pooled curve's variance by moving each day's hazard a little."""
    curve, window = pooled_curve(recent), 10
    r = projected_share(**from_rows(rows), pooled=curve, window=window, month_spread=spread)
    known = hazards(curve, window)
    each = {s: h for s, (h, _) in known.items()}

    def cumulative(chances, upto):
        return -sum(np.log1p(-h) for s, h in chances.items() if s <= upto)

    # The pace: a gamma prior of mean 1 and a variance of 0.49 at least, and the returns against the usual hazard.
    prior = 1 / max(spread, 0.7) ** 2
    back_by_end = sum(back and day <= window for day, back in rows)
    pace = (prior + back_by_end) / (prior + sum(cumulative(each, min(day, window)) for day, _ in rows))

    def expected(chances, factor=1.0):
        out = []
        for day, back in rows:
            if back or day >= window:
                out.append(float(back and day <= window))
            else:
                out.append(1 - np.exp(-factor * pace * (cumulative(chances, window) - cumulative(chances, day))))
        return np.array(out)

    y = expected(each)
    assert float(r.projected) == pytest.approx(y.mean(), abs=1e-12)
    assert int(r.returned) == back_by_end
    assert int(r.settled) == sum(back or day >= window for day, back in rows)
    assert float(r.more) == pytest.approx(y.sum() - back_by_end, abs=1e-12)
    young = any(not back and day < window for day, back in rows)
    whole = cumulative(each, window)
    if young and whole:
        # The rate by the window at that pace; what is known of it is worth so many returns, the pooled curve's too.
        greenwood = sum(h / (n * (1 - h)) for h, n in known.values())
        shape = 1 / (1 / (prior + back_by_end) + greenwood / whole**2)
        ends = stats.gamma.ppf([0.025, 0.975], shape, scale=pace / shape)
        low, high = 1 - np.exp(-ends * whole)
        assert float(r.low) == pytest.approx(min(low, y.mean()), rel=1e-9, abs=1e-12)
        assert float(r.high) == pytest.approx(max(high, y.mean()), rel=1e-9, abs=1e-12)
        assert float(r.se) == pytest.approx(np.exp(-pace * whole) * pace * whole / np.sqrt(shape), rel=1e-9)
    if young and y.sum() > back_by_end:
        step, variance = 1e-6, 0.0
        for s, (h, n) in known.items():
            slope = (expected({**each, s: h + step}).sum() - expected({**each, s: h - step}).sum()) / (2 * step)
            variance += slope**2 * h * (1 - h) / n
        slope = (expected(each, 1 + step).sum() - expected(each, 1 - step).sum()) / (2 * step)
        variance += slope**2 / (prior + back_by_end)
        still = np.array([q for (day, back), q in zip(rows, y, strict=True) if not back and day < window])
        few, many = count_limits(still.sum(), variance + (still * (1 - still)).sum(), len(still), 0.95)
        # The slopes are differences over a small step, and whole returns jump: one return either way.
        assert abs(float(r.final_low) * len(rows) - back_by_end - few) <= 1
        assert abs(float(r.final_high) * len(rows) - back_by_end - many) <= 1
    assert 0 <= r.low <= r.projected <= r.high <= 1
    assert r.returned / len(rows) - 1e-12 <= r.final_low <= r.final_high <= 1


@given(st.integers(0, 40), st.integers(0, 40), RECENT)
def test_a_mature_month_is_its_own_rate(back, out, recent):
    r = projected_share(
        day=[4, 10, 12], returned=[back, 0, 0], censored=[0, out, 1], pooled=pooled_curve(recent), window=10
    )
    mature = proportion_interval(successes=back, trials=back + out + 1)
    assert float(r.projected) == pytest.approx(float(mature.estimate), abs=1e-15)
    assert (float(r.low), float(r.high)) == pytest.approx((float(mature.low), float(mature.high)), abs=1e-12)
    assert (float(r.final_low), float(r.final_high)) == pytest.approx([float(mature.estimate)] * 2, abs=1e-15)
    assert r.settled == r.jobs


def test_a_month_closed_today_is_the_pooled_rate():
    recent = kaplan_meier(day=[0, 5, 30], returned=[0, 60, 0], censored=[0, 0, 940])
    r = projected_share(day=[0], returned=[0], censored=[200], pooled=recent, window=30)
    assert float(r.projected) == pytest.approx(0.06)
    # Nothing is known of its pace yet: a gamma law of mean 1 and standard deviation 0.7, by hand for the hazard 0.0619.
    ends = 1 - np.exp(-stats.gamma.ppf([0.025, 0.975], 1 / 0.49, scale=0.49) * 0.0618754)
    assert (float(r.low), float(r.high)) == pytest.approx(tuple(ends), abs=0.002)
    assert r.final_low < r.low < r.high < r.final_high


def test_a_month_that_runs_hot_is_projected_as_hot():
    """Twice the usual returns by their age: the pace is drawn towards one by two returns, no more."""
    recent = kaplan_meier(day=[0, 5, 20, 30], returned=[0, 30, 30, 0], censored=[0, 0, 0, 940])
    hot = projected_share(day=[5, 10], returned=[24, 0], censored=[0, 376], pooled=recent, window=30)
    cold = projected_share(day=[5, 10], returned=[3, 0], censored=[0, 397], pooled=recent, window=30)
    assert 0.11 < hot.projected < 0.12
    assert 0.015 < cold.projected < 0.02
    assert hot.low < 0.12 < hot.high
    assert cold.low < 0.03 < cold.high


def test_several_months_at_once():
    recent = pooled_curve([(3, True), (7, False), (8, True)])
    returned, censored = [[1, 0, 0], [2, 1, 0], [0, 0, 0]], [[0, 9, 0], [0, 3, 8], [0, 0, 0]]
    r = projected_share(day=[2, 6, 10], returned=returned, censored=censored, pooled=recent, window=10)
    for i in range(3):
        alone = projected_share(day=[2, 6, 10], returned=returned[i], censored=censored[i], pooled=recent, window=10)
        for name in (
            "jobs",
            "settled",
            "returned",
            "more",
            "projected",
            "se",
            "low",
            "high",
            "final_low",
            "final_high",
        ):
            assert getattr(r, name)[i] == pytest.approx(getattr(alone, name), abs=1e-15, nan_ok=True)
    assert np.isnan([r.projected[2], r.low[2], r.final_high[2]]).all()


def test_a_mature_month_beside_a_young_one_keeps_its_figure():
    """Nothing is still to come of it, however many halvings the young one's limits take."""
    recent = kaplan_meier(day=[0, 5, 30], returned=[0, 60, 0], censored=[0, 0, 940])
    r = projected_share(
        day=[5, 9, 30], returned=[[4, 0, 0], [2, 0, 0]], censored=[[0, 0, 96], [0, 300, 0]], pooled=recent, window=30
    )
    assert r.final_low[0] == r.final_high[0] == r.projected[0] == 0.04
    assert 2 / 302 <= r.final_low[1] < r.final_high[1]


def test_no_returns_anywhere_leaves_room():
    recent = kaplan_meier(day=[30], returned=[0], censored=[400])
    r = projected_share(day=[10], returned=[0], censored=[50], pooled=recent, window=30)
    assert (r.projected, r.low, r.final_low) == (0, 0, 0)
    assert 0.07 < r.high < 0.10  # Wilson's limit for none of 50 is 0.071
    assert r.final_high > 0


def test_where_recent_months_say_nothing():
    short = kaplan_meier(day=[5, 20], returned=[3, 0], censored=[0, 90])
    young = {"day": [5], "returned": [0], "censored": [9], "window": 30}
    old = {"day": [5, 30], "returned": [1, 0], "censored": [0, 9], "window": 30}
    assert np.isnan(projected_share(**young, pooled=short).projected)
    assert projected_share(**old, pooled=short).projected == pytest.approx(0.1)
    all_back = kaplan_meier(day=[3], returned=[4], censored=[0])
    assert np.isnan(projected_share(**young, pooled=all_back).projected)
    before = {**young, "day": [2]}
    assert projected_share(**before, pooled=all_back).projected == 1
    nobody = kaplan_meier(day=[3], returned=[0], censored=[0])
    assert np.isnan(projected_share(**young, pooled=nobody).high)


def depot(rng, months, jobs, spread, last=1.0):
    """Closing days, return days and the hazard factor of each month's jobs: returns thin out with age.

    The last month's hazard is `last` times that of the others.
    """
    closed = rng.integers(0, 30, (months, jobs)) + 30 * np.arange(months)[:, np.newaxis]
    factor = rng.gamma(1 / spread**2, spread**2, months) if spread else np.ones(months)
    factor[-1] *= last
    days = np.arange(60)
    out = np.exp(-factor[:, np.newaxis] * (0.05 * (1 - np.exp(-(days + 1) / 10)) + 0.0008 * (days + 1)))
    back = (rng.random((months, jobs))[..., np.newaxis] < out[:, np.newaxis, :]).sum(axis=-1)
    return closed, back, 1 - out[:, 29]


def tables(closed, back, today):
    followed = today - closed
    came = back <= followed
    day = np.clip(np.minimum(back, followed), 0, 400)
    cells = np.arange(closed.shape[0])[:, np.newaxis] * 401 + day
    size = closed.shape[0] * 401
    return tuple(np.bincount(cells[kind & (followed >= 0)], minlength=size).reshape(-1, 401) for kind in (came, ~came))


@pytest.mark.parametrize(("spread", "jobs"), [(0.0, 250), (0.3, 250), (0.3, 25)])
def test_back_test(spread, jobs):
    """240 invented depots of 14 months, judged at the end of the last one, whose jobs are 1 to 30 days old; window 30.

    The projection is compared with the rate that came true and with the month's true chance. Three binomial errors of
    0.95 over 240 are 0.042; final limits are those of a count, so they may hold it more often. Where months differ, the
    spread comes from the 12 mature months of the same depot, and its own error may cost some coverage.
    """
    rng = np.random.default_rng(2026)
    final, true, error, naive = [], [], [], []
    for _ in range(240):
        closed, back, chance = depot(rng, 14, jobs, spread)
        returned, censored = tables(closed, back, today=30 * 14)
        pooled = kaplan_meier(day=np.arange(401), returned=returned[6:].sum(axis=0), censored=censored[6:].sum(axis=0))
        mature = (back[:12] <= 30).sum(axis=1)
        r = projected_share(
            day=np.arange(401),
            returned=returned[13:],
            censored=censored[13:],
            pooled=pooled,
            window=30,
            month_spread=month_spread(returned=mature, jobs=[jobs] * 12) if spread else 0.0,
        )
        came_true = (back[13] <= 30).mean()
        final.append(r.final_low[0] - 1e-9 <= came_true <= r.final_high[0] + 1e-9)
        true.append(r.low[0] <= chance[13] <= r.high[0])
        error.append(r.projected[0] - came_true)
        naive.append(returned[13].sum() / jobs - came_true)
    assert 0.91 <= np.mean(final) <= 0.995
    assert 0.90 <= np.mean(true) <= 0.99
    # No lean (three standard errors), where the naive rate of a young month is far too low.
    assert abs(np.mean(error)) <= 3 * np.std(error) / np.sqrt(len(error))
    assert np.mean(naive) < -0.015


@pytest.mark.slow
@pytest.mark.parametrize("last", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("jobs", [100, 400])
def test_limits_hold_where_the_last_month_runs_hot_or_cold(jobs, last):
    """300 invented depots whose months were alike, and the last one is not: nine in ten at least, less three errors."""
    rng = np.random.default_rng(7)
    final, true = [], []
    for _ in range(300):
        closed, back, chance = depot(rng, 13, jobs, 0.0, last)
        returned, censored = tables(closed, back, today=30 * 13)
        day = np.arange(401)
        pooled = kaplan_meier(day=day, returned=returned[1:].sum(axis=0), censored=censored[1:].sum(axis=0))
        r = projected_share(day=day, returned=returned[12:], censored=censored[12:], pooled=pooled, window=30)
        came_true = (back[12] <= 30).mean()
        final.append(r.final_low[0] - 1e-9 <= came_true <= r.final_high[0] + 1e-9)
        true.append(r.low[0] <= chance[12] <= r.high[0])
    assert np.mean(final) >= 0.90 - 3 * (0.09 / 300) ** 0.5
    assert np.mean(true) >= 0.90 - 3 * (0.09 / 300) ** 0.5


def test_month_spread():
    """Planted spreads are found on average over 300 depots of 24 months (10 %: its own lean as a root of moments)."""
    rng = np.random.default_rng(4)
    for planted in (0.3, 0.6):
        chance = 0.08 * rng.gamma(1 / planted**2, planted**2, (300, 24))
        found = [month_spread(returned=rng.binomial(400, np.minimum(c, 1)), jobs=[400] * 24) for c in chance]
        assert np.sqrt(np.mean(np.square(found))) == pytest.approx(planted, rel=0.10)
    none = [month_spread(returned=rng.binomial(400, 0.08, 24), jobs=[400] * 24) for _ in range(300)]
    assert np.median(none) < 0.06
    assert np.isnan(month_spread(returned=[3], jobs=[9]))
    assert np.isnan(month_spread(returned=[0, 0], jobs=[9, 9]))
    assert month_spread(returned=[4, 4, 0], jobs=[90, 90, 0]) == 0


@given(st.floats(0.01, 40), st.floats(0.2, 3), st.sampled_from([0.8, 0.95, 0.99]))
def test_count_limits(mean, ratio, level):
    """scipy.stats: the smallest counts whose distribution functions reach both tails."""
    variance = mean * ratio
    low, high = count_limits(np.array([mean]), np.array([variance]), np.array([10_000]), level)
    tails = [(1 - level) / 2, 1 - (1 - level) / 2]
    if ratio > 1.001:
        expected = stats.nbinom.ppf(tails, mean / (ratio - 1), 1 / ratio)
    elif ratio < 0.999 and float(mean / (1 - ratio)).is_integer():
        expected = stats.binom.ppf(tails, mean / (1 - ratio), 1 - ratio)
    elif ratio == 1:
        expected = stats.poisson.ppf(tails, mean)
    else:
        return
    assert [low[0], high[0]] == expected.tolist()


@pytest.mark.parametrize(("trials", "chance"), [(1, 0.5), (7, 0.1), (30, 0.9), (250, 0.03)])
def test_count_limits_of_a_binomial(trials, chance):
    mean = np.array([trials * chance])
    low, high = count_limits(mean, mean * (1 - chance), np.array([trials]), 0.95)
    assert [low[0], high[0]] == stats.binom.ppf([0.025, 0.975], trials, chance).tolist()


def test_refuses():
    good = {"day": [5], "returned": [1], "censored": [2], "pooled": pooled_curve([(1, True)]), "window": 10}
    two = kaplan_meier(day=[5], returned=[[1], [2]], censored=[[1], [2]])
    for more, message in (
        ({"pooled": two}, r"pooled must be the curve of one group: shape \(2, 1\)"),
        ({"window": -1}, "window must be at least 0"),
        ({"month_spread": -0.1}, "month_spread must be at least 0"),
        ({"level": 95}, "level must be one number"),
        ({"returned": [1.5]}, "returned must be whole numbers"),
    ):
        with pytest.raises(ValueError, match=message):
            projected_share(**{**good, **more})
    with pytest.raises(ValueError, match="returned must not be above jobs"):
        month_spread(returned=[3, 1], jobs=[2, 2])
