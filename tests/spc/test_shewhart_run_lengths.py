"""Run lengths under sets of rules: published tables, closed forms, exact counts, simulated charts put to the rules."""

from fractions import Fraction
from math import factorial

import numpy as np
import pytest
from scipy.stats import binom, norm

from rqa.spc import (
    MONTHLY,
    NELSON,
    WESTERN_ELECTRIC,
    Chart,
    NormalPoints,
    SharePoints,
    ShewhartDesign,
    TrendRule,
    ZoneRule,
    beyond_limits,
    p_chart,
    run_length,
    signal_masks,
)
from tests.published_runs import RUNS, half
from tests.simulated import departures

TABLE = RUNS["shewhart_rules"]
ONE, TWO, THREE, FOUR = WESTERN_ELECTRIC
SETS = {"C1": (ONE,), "C12": (ONE, TWO), "C14": (ONE, FOUR), "C1234": WESTERN_ELECTRIC}
NAMED = {rule.name: rule for rule in NELSON}


def of(rules, **asked):
    return run_length(ShewhartDesign(rules=rules), **asked)


def first_signals(rules, z):
    """The number of points up to the first signal of each row, one more than there are points if there is none."""
    ones = np.ones(z.shape)
    masks = signal_masks(Chart(values=z, centre=0 * ones, lower=-3 * ones, upper=3 * ones, sigma=ones), rules)
    out = np.zeros(z.shape, dtype=bool)
    for sides in masks.values():
        for mask in sides.values():
            out |= mask
    return np.where(out.any(axis=1), out.argmax(axis=1) + 1, z.shape[1] + 1)


@pytest.mark.parametrize("name", SETS)
def test_champ_and_woodall(name):
    """Champ and Woodall 1987, from memory."""
    found = [of(SETS[name], shift=shift).mean for shift in TABLE["shift"]]
    assert np.abs(np.subtract(found, TABLE[name])).max() <= half(TABLE["decimals"])


@pytest.mark.parametrize("shift", [0.0, 0.7, -2.5, 4.0])
@pytest.mark.parametrize("width", [2.5, 3.0, 6.0])
def test_limits_alone_are_geometric(width, shift):
    """Every point signals with the chance of a normal value beyond the limits, whatever came before."""
    chance = norm.sf(width - shift) + norm.cdf(-width - shift)
    found = run_length(ShewhartDesign(rules=(ONE,), width=width), shift=shift)
    assert found.mean == pytest.approx(1 / chance, rel=1e-12)
    assert found.sd == pytest.approx(np.sqrt(1 - chance) / chance, rel=1e-9)
    n = np.array([1, 2, 70, 500])
    np.testing.assert_allclose(found.pmf(n), chance * (1 - chance) ** (n - 1), rtol=1e-10)
    np.testing.assert_allclose(found.survival(n), (1 - chance) ** n, rtol=1e-10)


@pytest.mark.parametrize("length", [3, 8, 9])
def test_runs_on_one_side(length):
    """Runs of one side of a fair coin: 2 to the length, less 1."""
    rule = ZoneRule(name="run", need=length, out_of=length)
    assert of((rule,)).mean == pytest.approx(2**length - 1, rel=1e-10)


@pytest.mark.parametrize("name", ["fifteen in a row within one sigma", "eight in a row beyond one sigma, either side"])
def test_runs_of_successes(name):
    """The mean wait for m successes in a row, each with chance p, is (1 - p^m) / ((1 - p) p^m)."""
    rule = NAMED[name]
    p = 1 - 2 * norm.sf(1) if rule.within == 1 else 2 * norm.sf(1)
    wait = (1 - p**rule.need) / ((1 - p) * p**rule.need)
    assert of((rule,)).mean == pytest.approx(wait, rel=1e-9)


def orders_without(rule, most):
    """Exact share of the orders of n values without the pattern, n = 1 to `most`: counted by the rank of the latest.

    The next value takes each of the n + 1 ranks among all with the same chance, which tells whether it is higher.
    """
    counts = {(0, 0, 0): 1}
    shares = [Fraction(1)]
    for n in range(1, most):
        after = {}
        for (rank, way, steps), count in counts.items():
            for new in range(n + 1):
                step = 1 if new > rank else -1
                goes_on = way == (-step if rule.alternating else step)
                run = steps + 1 if goes_on else 1
                if run < rule.length - 1:
                    key = (new, step, run)
                    after[key] = after.get(key, 0) + count
        counts = after
        shares.append(Fraction(sum(counts.values()), factorial(n + 1)))
    return shares


@pytest.mark.parametrize(
    "rule",
    [
        NAMED["six in a row, steadily up or down"],
        NAMED["fourteen in a row, up and down by turns"],
        TrendRule(name="three", length=3),
        TrendRule(name="four by turns", length=4, alternating=True),
    ],
    ids=lambda rule: rule.name,
)
@pytest.mark.parametrize("others", [(), (beyond_limits,)], ids=["alone", "beside limits"])
def test_trends(rule, others):
    """Against exact counts of orders; limits so wide that they never end a run must change nothing."""
    found = run_length(ShewhartDesign(rules=(*others, rule), width=9.0), shift=0.4, spread=0.8)
    exact = [float(share) for share in orders_without(rule, 24)]
    np.testing.assert_allclose(found.survival(np.arange(1, 25)), exact, rtol=1e-8)


@pytest.mark.parametrize(
    ("rules", "shift"),
    [(WESTERN_ELECTRIC, 0.0), (WESTERN_ELECTRIC, 0.8), (MONTHLY, 0.0), (NELSON[:4], 0.0), (NELSON[4:], 0.5)],
    ids=["zone rules", "zone rules, shifted", "monthly", "Nelson 1-4", "Nelson 5-8, shifted"],
)
def test_simulated(rules, shift):
    """Normal points put to the rules themselves."""
    z = np.random.default_rng(1956).normal(shift, 1, size=(3000, 240))
    assert not departures(first_signals(rules, z), of(rules, shift=shift), 240)


def test_all_eight_of_nelson():
    """In control, simulated; and about 73 points, as the text beside the rules says."""
    expected = of(NELSON)
    z = np.random.default_rng(1984).normal(size=(4000, 160))
    assert not departures(first_signals(NELSON, z), expected, 160)
    assert round(expected.mean) == 73


def test_text_beside_the_rules():
    assert [round(of(rules).mean) for rules in (WESTERN_ELECTRIC[:1], MONTHLY, WESTERN_ELECTRIC)] == [370, 153, 92]


def test_spread():
    """A spread of 2 with limits at 3 sigma is a spread of 1 with limits at 1.5."""
    wide = run_length(ShewhartDesign(rules=(ONE, FOUR)), spread=2.0, shift=1.0)
    narrow = run_length(ShewhartDesign(rules=(ONE, FOUR), width=1.5), shift=0.5)
    assert wide.mean == pytest.approx(narrow.mean, rel=1e-12)
    assert wide.mean == of((ONE, FOUR), points=NormalPoints(shift=1.0, spread=2.0)).mean


@pytest.mark.parametrize(
    ("size", "centre", "share"), [(40, 0.05, None), (100, 0.1, 0.17), (250, 0.02, 0.0), (7, 0.5, 1.0)]
)
def test_shares_by_whole_counts(size, centre, share):
    """The chance of each count, and what the p chart itself says of it."""
    x = np.arange(size + 1)
    chart = p_chart(count=[*([round(1e6 * centre)]), *x], size=[10**6, *([size] * (size + 1))], baseline=slice(0, 1))
    out = [s.index - 1 for s in chart.signals]
    chance = binom.pmf(out, size, centre if share is None else share).sum()
    found = of((ONE,), points=SharePoints(size=size, centre=centre, share=share))
    assert found.mean == pytest.approx(1 / chance if chance > 0 else np.inf, rel=1e-9)


def test_a_count_on_the_centre_line_is_on_neither_side():
    """Of two jobs with an even chance a quarter is below, half on and a quarter above the centre.

    With the mean waits e after no run, f after a run of one, g after two on a side: e = 1 + e/2 + f/2,
    f = 1 + e/2 + f/4 + g/4, g = 1 + e/2 + f/4; hence e = 42, f = 40, g = 32.
    """
    e, f, g = np.linalg.solve([[0.5, -0.5, 0], [-0.5, 0.75, -0.25], [-0.5, -0.25, 1]], np.ones(3))
    assert (e, f, g) == (pytest.approx(42), pytest.approx(40), pytest.approx(32))
    three = ZoneRule(name="three in a row, same side", need=3, out_of=3)
    for rules in ((three,), (three, TrendRule(name="long", length=9))):
        found = of(rules, points=SharePoints(size=2, centre=0.5))
        assert found.mean == pytest.approx(42, rel=1e-10)


def test_shares_simulated_with_ties():
    """Small whole counts, where equal months end a trend and a month on the centre is on neither side."""
    rules = (ONE, FOUR, NAMED["six in a row, steadily up or down"], NAMED["two of three beyond two sigma, same side"])
    size, centre = 20, 0.1
    count = np.random.default_rng(20).binomial(size, 0.13, size=(3000, 150))
    z = (count - size * centre) / np.sqrt(size * centre * (1 - centre))
    expected = of(rules, points=SharePoints(size=size, centre=centre, share=0.13))
    assert not departures(first_signals(rules, np.round(z, 12)), expected, 150)


def test_no_signal_ever():
    none = of((ONE,), points=SharePoints(size=4, centre=0.5))
    assert (none.mean, none.sd, none.median) == (np.inf, np.inf, np.inf)
    assert none.survival([0, 10**6]).tolist() == [1.0, 1.0]
    assert none.alarm_chance(12) == 0.0


def test_at_once():
    gone = of((ONE,), shift=60.0)
    assert (gone.mean, gone.sd, gone.median, float(gone.pmf(1))) == (1.0, 0.0, 1.0, 1.0)
    assert gone.survival([0, 1, 5]).tolist() == [1.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (lambda: ShewhartDesign(rules=()), "rules must hold at least one rule"),
        (lambda: ShewhartDesign(width=0), "width must be above 0 and finite: 0"),
        (lambda: of((ONE,), shift=np.nan), "shift must be finite: nan"),
        (lambda: of((ONE,), spread=0), "spread must be above 0 and finite: 0"),
        (lambda: of((ONE,), share=0.1), "share does not belong to ShewhartDesign, which takes shift, spread, points"),
        (lambda: of((ONE,), shift=1, points=NormalPoints()), "points must be given alone, or shift and spread"),
        (lambda: SharePoints(size=0, centre=0.1), "size must be one whole number of at least 1: 0"),
        (lambda: SharePoints(size=10, centre=1.0), "centre must be one number between 0 and 1"),
        (lambda: SharePoints(size=10, centre=0.1, share=1.5), "share must be between 0 and 1"),
        (lambda: of((lambda chart: (),)), "rules must be made of limit, zone and trend rules"),
    ],
)
def test_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        asked()
