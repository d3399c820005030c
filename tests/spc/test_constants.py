"""Factors of subgroups: printed tables to every decimal, misprints shown by a second way, closed forms, refusals."""

import math
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special

from rqa.spc import constants
from tests.cases import some_slow

SHARED = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))
MISPRINTS = SHARED["constants_misprints"]["rows"]
PRINTED = SHARED["constants_printed"]["rows"] + SHARED["constants_printed_large"]["rows"]


def rounded_to(printed, value):
    return f"{value:.{len(printed.partition('.')[2])}f}"


@cache
def by_other_means(n):
    """The factors from E W as a single integral and E W^2 as a plane one, and from log-gamma; not as the package does.

    E W = integral 1 - (1 - Phi)^n - Phi^n; E W^2 = 2 x the integral over x < y of 1 - Phi(y)^n - (1 - Phi(x))^n +
    (Phi(y) - Phi(x))^n (Tippett 1925), here by Gauss-Legendre in u = x and the distance t = y - x.
    """
    mean = integrate.quad(
        lambda x: 1 - special.ndtr(x) ** n - special.ndtr(-x) ** n, -9, 9, epsabs=1e-12, epsrel=1e-12, limit=200
    )[0]
    node, weight = np.polynomial.legendre.leggauss(300)
    x, t = 9 * node[:, None], 9 * (node[None, :] + 1)
    low, high = special.ndtr(x), special.ndtr(x + t)
    plane = 1 - high**n - special.ndtr(-x) ** n + (high - low) ** n
    # Where x is left of the square the integrand is 1 - Phi(y)^n - 1 + Phi(y)^n = 0 to the last digit kept.
    square = 2 * 81 * float(weight @ plane @ weight)
    d2, d3 = mean, math.sqrt(square - mean**2)
    c4 = math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    c5 = math.sqrt(1 - c4**2)
    root = math.sqrt(n)
    return {
        "d2": d2, "d3": d3, "c4": c4, "c5": c5, "A": 3 / root, "A2": 3 / d2 / root, "A3": 3 / c4 / root,
        "B3": max(0, 1 - 3 * c5 / c4), "B4": 1 + 3 * c5 / c4, "B5": max(0, c4 - 3 * c5), "B6": c4 + 3 * c5,
        "D1": max(0, d2 - 3 * d3), "D2": d2 + 3 * d3, "D3": max(0, 1 - 3 * d3 / d2), "D4": 1 + 3 * d3 / d2,
        "E2": 3 / d2,
    }


def test_the_tables_to_every_printed_decimal():
    """Every figure printed for n = 2 to 25 is our rounding, but for the misprints, of which none is missing here."""
    wrong = {(row["n"], row["factor"]): row["printed"] for row in MISPRINTS}
    differing = {}
    for row in PRINTED:
        made = constants(row["n"])
        for factor, printed in row.items():
            if factor != "n" and rounded_to(printed, getattr(made, factor)) != printed:
                differing[row["n"], factor] = printed
    in_tables = {key for key in wrong if any(row["n"] == key[0] and key[1] in row for row in PRINTED)}
    assert differing == {key: wrong[key] for key in in_tables}
    assert [row["n"] for row in PRINTED] == list(range(2, 26))


@pytest.mark.parametrize("row", some_slow(MISPRINTS, 1), ids=lambda row: f"{row['factor']}({row['n']})")
def test_misprints_are_shown_by_a_second_way(row):
    other = by_other_means(row["n"])[row["factor"]]
    assert rounded_to(row["correct"], other) == row["correct"] != row["printed"]
    assert rounded_to(row["correct"], getattr(constants(row["n"]), row["factor"])) == row["correct"]


@pytest.mark.parametrize("row", SHARED["constants_misprints"]["inverses"], ids=lambda row: f"1/{row['of']}({row['n']})")
def test_misprinted_inverses(row):
    assert rounded_to(row["correct"], 1 / by_other_means(row["n"])[row["of"]]) == row["correct"] != row["printed"]
    assert rounded_to(row["correct"], 1 / getattr(constants(row["n"]), row["of"])) == row["correct"]


@pytest.mark.parametrize("row", SHARED["constants_computed"]["rows"], ids=lambda row: str(row["n"]))
def test_six_decimals(row):
    made = constants(row["n"])
    for factor in row.keys() - {"n"}:
        assert abs(getattr(made, factor) - row[factor]) <= 0.5e-6 + 1e-12, factor


@pytest.mark.parametrize("n", [2, 3, 4, 7, 25, 100, 400, 1000])
def test_equals_the_second_way(n):
    """Both are quadratures of smooth functions, good to more than ten digits."""
    made = constants(n)
    for factor, expected in by_other_means(n).items():
        assert getattr(made, factor) == pytest.approx(expected, rel=1e-9, abs=1e-9), factor


def test_closed_forms():
    """d2 of 2 to 5, d3 of 2 and 3, c4 of 2, 3 and 4 are known in closed form (David 1970, from memory)."""
    pi = math.pi
    assert constants(2).d2 == pytest.approx(2 / math.sqrt(pi), rel=1e-11)
    assert constants(2).d3 == pytest.approx(math.sqrt(2 - 4 / pi), rel=1e-11)
    assert constants(3).d2 == pytest.approx(3 / math.sqrt(pi), rel=1e-11)
    assert constants(3).d3 == pytest.approx(math.sqrt(2 + 3 * math.sqrt(3) / pi - 9 / pi), rel=1e-10)
    assert constants(4).d2 == pytest.approx(6 / math.sqrt(pi) * (1 / 2 + math.asin(1 / 3) / pi), rel=1e-11)
    assert constants(5).d2 == pytest.approx(10 / math.sqrt(pi) * (1 / 4 + 1.5 * math.asin(1 / 3) / pi), rel=1e-11)
    assert constants(2).c4 == pytest.approx(math.sqrt(2 / pi), rel=1e-14)
    assert constants(3).c4 == pytest.approx(math.sqrt(pi) / 2, rel=1e-14)
    assert constants(4).c4 == pytest.approx(2 * math.sqrt(2 / (3 * pi)), rel=1e-14)


def test_large_sizes_change_smoothly():
    """Sizes change the factors always in one direction: no quadrature breaks down on the way to 1,000."""
    d2 = np.array([constants(n).d2 for n in range(2, 1001, 37)])
    d3 = np.array([constants(n).d3 for n in range(5, 1001, 37)])
    assert (np.diff(d2) > 0).all()
    assert (np.diff(d3) < 0).all()
    assert constants(1000).c4 == pytest.approx(1 - 1 / (4 * 999) + 1 / (32 * 999**2), rel=1e-9)


def test_a_second_call_is_the_same_object():
    assert constants(17) is constants(np.int64(17))


@pytest.mark.parametrize("n", [1, 0, -3, 1001, 5.0, "5", None, True, [5]])
def test_refused(n):
    with pytest.raises(ValueError, match="n must be a whole number from 2 to 1000"):
        constants(n)
