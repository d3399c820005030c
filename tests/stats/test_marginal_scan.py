"""Scan over margins: the same as the scan of one table where it must be, error rates by jobs, a bad lot, ends."""

import numpy as np
import pytest
from scipy import special

from rqa.stats import Margin, marginal_scan, scan_margins, scan_statistic
from rqa.stats.margin_windows import laid

ONE = {"simulations": 1}


def table(rng, groups=3, periods=8):
    period, group = np.tile(np.arange(periods), groups), np.repeat(np.arange(groups), periods)
    work = rng.integers(5, 30, len(period))
    return {"period": period, "group": group, "work": work, "events": rng.binomial(work, 0.08)}


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
@pytest.mark.parametrize("seed", range(4))
def test_ratios_are_those_of_the_scan_of_one_table(likelihood, seed):
    """One dimension against all groups: the same windows, so the same strongest ratio, events, expected and ratio."""
    d = table(np.random.default_rng(seed))
    r = scan_margins({"lot": Margin(**d)}, likelihood=likelihood, longest=4, fewest=2, **ONE)
    other = scan_statistic(
        events=d["events"], work=d["work"], period=d["period"], groups={"lot": d["group"]}, likelihood=likelihood,
        longest=4, **ONE,
    )
    assert r.highest[0] == pytest.approx(other.highest[1], rel=1e-9)
    top = next(b for b in other.bursts if b.dimension == "lot")
    own = r.bursts[0]
    assert (own.group, own.first, own.last, own.events) == (top.group, top.first, top.last, top.events)
    assert own.expected == pytest.approx(top.expected)
    assert own.ratio == pytest.approx(top.ratio)


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
@pytest.mark.parametrize("seed", range(4))
def test_own_level_by_hand(seed, likelihood):
    """The smaller of the ratios to up to 5 periods before and after; 4 before are needed, after asked from 4 on."""
    d = table(np.random.default_rng(seed), groups=2, periods=14)
    r = scan_margins(
        {"bench": Margin(**d, own_level=True)}, likelihood=likelihood, longest=4, beside=5, fewest=2, **ONE
    )

    def ratio(c, w, total, all_work):
        if c < 2 or c * all_work <= total * w:
            return 0.0
        if likelihood == "poisson":
            e, out = total * w / all_work, total - c
            return c * np.log(c / e) + (out * np.log(out / (total - e)) if out else 0.0)

        def part(k, n):
            return sum(m * np.log(m / n) for m in (k, n - k) if m)

        return part(c, w) + part(total - c, all_work - w) - part(total, all_work)

    best = 0.0
    for g in range(2):
        x, w = (d[name][d["group"] == g] for name in ("events", "work"))
        for first in range(4, 14):
            for last in range(first, min(first + 4, 14)):
                low, high, inside = max(first - 5, 0), min(last + 6, 14), slice(first, last + 1)
                sides = [slice(low, last + 1)] + [slice(first, high)] * (13 - last >= 4)
                found = [ratio(x[inside].sum(), w[inside].sum(), x[s].sum(), w[s].sum()) for s in sides]
                best = max(best, min(found, default=0.0))
    assert r.highest[0] == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
@pytest.mark.parametrize(("chance", "periods"), [(0.004, 40), (0.08, 20), (0.7, 20), (0.08, 3)])
def test_the_highest_of_simulated_sets_is_that_of_all_their_windows(likelihood, chance, periods):
    """Passing windows over by a bound changes no set's highest ratio: with few events, many, and nearly all."""
    rng = np.random.default_rng(periods)
    d = table(rng, groups=9, periods=periods)
    d["work"] = np.where(rng.random(len(d["work"])) < 0.1, 0, d["work"])
    d["events"] = rng.binomial(d["work"], chance)
    for own, cases in ((True, None), (False, None), (True, d["work"])):
        t = laid("bench", Margin(**d, own_level=own, cases=cases), likelihood, 6, 2, 9)
        sets = np.concatenate([t.drawn(rng, 140), np.zeros((2, len(t.events)))])
        every = t.ratios(sets).max(axis=1, initial=0.0)
        assert t.highest(sets) == pytest.approx(every, rel=1e-12)
        assert periods == 3 or (every[:140] > 0).any()


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
def test_a_window_that_holds_all_of_the_work_is_no_burst_and_no_fault(likelihood):
    t = laid("bench", Margin([0, 1], [0, 300], [0, 1]), likelihood, 1, 1, 1)
    assert t.highest(np.array([[0.0, 0.0], [0.0, 7.0]])).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
@pytest.mark.parametrize("own", [True, False])
def test_a_window_of_all_the_work_has_no_ratio(likelihood, own):
    """One group, so that the widest window holds all there is, and sets without any event."""
    t = laid("lot", Margin([3, 1, 2], [9, 8, 7], [0, 1, 2], own_level=own), likelihood, 3, 1, 9)
    sets = np.array([[0.0, 0.0, 0.0], [6.0, 0.0, 0.0], [9.0, 8.0, 7.0]])
    assert t.highest(sets) == pytest.approx(t.ratios(sets).max(axis=1, initial=0.0), rel=1e-12)


@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
def test_no_ratio_is_above_the_bound_of_its_square(likelihood):
    """Over all shares of work and events: the ratio from its definition is at most k x^2 / C, and reaches it."""
    reached = []
    for share in (0.01, 0.1, 0.28, 0.3, 0.5, 0.7, 0.99):
        work = np.array([share, 1.0 - share]) * 10_000
        t = laid("lot", Margin([1, 1], work.round(), [0, 1]), likelihood, 1, 1, 1)
        at = int(np.flatnonzero(t.first[t.maxima.order] == 0)[0])
        total = 300.0
        for c in np.linspace(total * share, total, 40)[1:]:
            out, e = total - c, total * share
            ratio = special.xlogy(c, c / e) + special.xlogy(out, out / (total - e))
            room = total
            if likelihood == "bernoulli":
                n, others = 10_000 * share - c, 10_000 - total
                if n < 0:
                    continue
                ratio += special.xlogy(n, n / (others * share))
                ratio += special.xlogy(others - n, (others - n) / (others * (1 - share)))
                room = total * others / 10_000
            bound = (c - e) ** 2 / (room * float(t.maxima.least[at, 0]))
            assert ratio <= bound * (1 + 1e-6)
            reached.append(ratio / bound)
    assert max(reached) > 0.95


def test_sets_that_are_not_needed_change_nothing(monkeypatch):
    """However many of the sets drawn at a time are scored first, the answer is the same."""
    answers = []
    for first in (1, 32, 10_000):
        monkeypatch.setattr(marginal_scan, "FIRST", first)
        r = scan_margins(by_jobs(4), longest=6, simulations=99, enough=5)
        answers.append((r.p_value, r.simulations, r.stopped, r.bursts))
    assert answers[0][2]
    assert answers[0] == answers[1] == answers[2]


def test_a_change_of_level_is_no_burst_but_one_that_goes_again_or_is_still_on_is():
    rng = np.random.default_rng(5)
    week, work = np.arange(60), np.full(60, 400)

    def p_of(chance):
        return scan_margins({"time": Margin(rng.binomial(work, chance), work, week, own_level=True)}).bursts[0]

    stepped = p_of(np.where(week < 30, 0.08, 0.04))
    gone = p_of(np.where((week >= 30) & (week < 36), 0.08, 0.04))
    still = p_of(np.where(week >= 54, 0.08, 0.04))
    assert stepped.p_value > 0.05
    assert (gone.first, gone.last, gone.p_value) == (30, 35, 0.001)
    assert (still.first, still.last, still.p_value) == (54, 59, 0.001)


def test_a_group_that_is_always_worse_is_no_burst_of_its_own_level():
    rng = np.random.default_rng(3)
    d = table(rng, groups=6, periods=30)
    d["events"] = rng.binomial(d["work"], np.where(d["group"] == 2, 0.3, 0.05))
    against_all = scan_margins({"bench": Margin(**d)}, simulations=99)
    own = scan_margins({"bench": Margin(**d, own_level=True)}, simulations=99)
    assert (against_all.bursts[0].group, against_all.p_value) == (2, 0.01)
    assert own.p_value > 0.05


def by_jobs(seed, lot_chance=0.05, bounded=True):
    """2,000 jobs with a bench, a person and two lots each; margins of what came back. Lot 5 is there in weeks 10-14."""
    rng = np.random.default_rng(seed)
    week, bench, person = rng.integers(0, 30, 2000), rng.integers(0, 6, 2000), rng.integers(0, 12, 2000)
    lots = [week // 5 * 2 + rng.integers(0, 2, 2000), 100 + week // 3]
    back = rng.random(2000) < np.where(lots[0] == 5, lot_chance, 0.05)
    made = {}
    for name, groups in (("time", [week * 0]), ("bench", [bench]), ("person", [person]), ("lot", lots)):
        cell = np.concatenate([label * 30 + week for label in groups])
        cells, at = np.unique(cell, return_inverse=True)
        came = np.bincount(at, weights=np.tile(back, len(groups))).astype(int)
        group = None if name == "time" else cells // 30
        jobs = np.bincount(at)
        own = name != "lot"
        made[name] = Margin(came, jobs, cells % 30, group, own_level=own, cases=jobs if bounded else None)
    return made


@pytest.mark.slow
@pytest.mark.parametrize("likelihood", ["poisson", "bernoulli"])
def test_quiet_jobs_are_quiet_as_often_as_promised(likelihood):
    """20 depots of jobs that share benches, persons and lots, no burst: p <= 0.1 in at most 10 %; 4 errors are 27 %."""
    found = sum(
        scan_margins(by_jobs(seed), likelihood=likelihood, longest=6, simulations=39, enough=4, seed=seed).p_value
        <= 0.1
        for seed in range(20)
    )
    assert found / 20 <= 0.37


def test_a_bad_lot_is_the_strongest():
    r = scan_margins(by_jobs(1, lot_chance=0.3), longest=6, simulations=199)
    top = r.bursts[0]
    assert (top.dimension, top.group, top.first, top.last) == ("lot", 5, 10, 14)
    assert top.p_value == 1 / 200
    assert top.p_fitted < 0.001
    assert r.leading[r.dimensions.index("lot")] == top


def test_the_fitted_curve_agrees_with_many_sets():
    """Of 999 sets 150 to 500 lie above these windows, so 4 standard errors of p are within 30 % of it."""
    r = scan_margins(by_jobs(3), longest=6, simulations=999, enough=999)
    told = [b for b in r.bursts if 0.15 <= b.p_value <= 0.5]
    assert told
    for b in told:
        assert b.p_fitted == pytest.approx(b.p_value, rel=0.3)


def test_listed_windows_of_one_group_do_not_overlap():
    listed = scan_margins(by_jobs(2), longest=6, limit=30, **ONE).bursts
    assert len(listed) == 30
    assert (np.diff([b.score for b in listed]) <= 1e-9).all()
    for i, b in enumerate(listed):
        for other in listed[:i]:
            if (other.dimension, other.group) == (b.dimension, b.group):
                assert other.last < b.first or other.first > b.last


def test_nothing_to_find():
    none = scan_margins({"time": Margin([0, 0], [5, 5], [0, 1]), "lot": Margin([], [], [], [])})
    assert (none.bursts, none.leading, none.simulations) == ((), (None, None), 0)
    assert np.isnan(none.p_value)
    assert scan_margins({}).bursts == ()
    unnamed = scan_margins({"lot": Margin([3, 4], [9, 9], [0, 1], [None, None])})
    assert unnamed.bursts == ()


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"work": [0.0, 1.0]}, "above 0 where there were events"),
        ({"period": [0]}, "one length"),
        ({"group": ["a"]}, "one entry per row"),
        ({"period": [1, 1]}, "met once"),
        ({"events": [-1, 2]}, "at least 0"),
    ],
)
def test_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        scan_margins({"time": Margin(**{"events": [2, 1], "work": [5.0, 5.0], "period": [0, 1]} | changed)})
    with pytest.raises(ValueError, match="one of"):
        scan_margins({}, likelihood="normal")
