"""The exact test of two shares: the published value, a count from the definition, its promise, landmarks."""

import math
import tomllib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from rqa.stats import proportion_test
from tests.cases import some_slow

TEA = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text("utf-8"))["fisher_tea"]


def by_definition(x1, n1, x2, n2):
    """The chance, in exact fractions, of all tables with these margins that are no likelier than the one seen."""
    k, n = x1 + x2, n1 + n2

    def chance(x):
        return Fraction(math.comb(n1, x) * math.comb(n2, k - x), math.comb(n, k))

    seen = chance(x1)
    return float(sum(c for x in range(max(0, k - n2), min(n1, k) + 1) if (c := chance(x)) <= seen))


def test_tea():
    """Fisher 1935, two-sided 34/70 (seen)."""
    r = proportion_test(**{name: TEA[name] for name in ("successes1", "trials1", "successes2", "trials2")})
    assert abs(r.p_value - TEA["p_value"]) <= 0.5 * 10.0 ** -TEA["decimals"]
    assert float(r.p_value) == pytest.approx(34 / 70, rel=1e-13)
    assert float(r.difference) == 0.5


@given(st.tuples(*[st.integers(0, 40)] * 4))
def test_equals_the_definition(cells):
    x1, y1, x2, y2 = cells
    r = proportion_test(successes1=x1, trials1=x1 + y1, successes2=x2, trials2=x2 + y2)
    if x1 + y1 == 0 or x2 + y2 == 0:
        assert np.isnan(r.p_value)
        assert np.isnan(r.difference)
    else:
        assert float(r.p_value) == pytest.approx(by_definition(x1, x1 + y1, x2, x2 + y2), rel=1e-9)


def test_landmarks():
    r = proportion_test(
        successes1=[0, 9, 9, 0, 1], trials1=[9, 9, 9, 0, 9], successes2=[0, 8, 0, 3, 0], trials2=[7, 8, 8, 8, 0]
    )
    assert r.p_value[:2].tolist() == [1.0, 1.0]
    # All 9 against none of 8: the most extreme table on its side, 1 / C(17, 9); its mirror is impossible.
    assert r.p_value[2] == pytest.approx(1 / math.comb(17, 9), rel=1e-12)
    assert np.isnan(r.p_value[3:]).all()


@pytest.mark.parametrize("chance", some_slow([0.03, 0.1, 0.3, 0.5], 1))
def test_claims_no_more_often_than_promised(chance):
    """15 against 40 jobs of one chance: the exact probability of p <= 0.05 is at most 0.05."""
    x1, x2 = (a.ravel() for a in np.meshgrid(np.arange(16), np.arange(41), indexing="ij"))
    r = proportion_test(successes1=x1, trials1=15, successes2=x2, trials2=40)
    likely = binom.pmf(x1, 15, chance) * binom.pmf(x2, 40, chance)
    assert likely[r.p_value <= 0.05].sum() <= 0.05


def test_millions_of_jobs():
    """30,500 of 500,000 against 6 % of 9 million: z = 2.89 by the score test, two-sided p = 0.0039."""
    r = proportion_test(successes1=30_500, trials1=500_000, successes2=540_000, trials2=9_000_000)
    assert float(r.p_value) == pytest.approx(0.0039, abs=0.0002)


def test_echoes_inputs_in_one_shape():
    r = proportion_test(successes1=[[1], [2]], trials1=9, successes2=3, trials2=9)
    assert r.p_value.shape == (2, 1)
    assert r.trials2.tolist() == [[9], [9]]
