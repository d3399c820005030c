"""Do groups differ in what their cases are made up of: a table of counts, r rows by c columns, tested as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero

Method = Literal["auto", "chi-squared", "exact", "monte-carlo"]
THIN = 5.0
"""Expected count below which the chi-squared distribution is not relied on: Cochran's rule of thumb."""
MOST_TABLES = 20_000
"""Tables with the same margins up to which all are gone through."""
MOST_DRAWS = 1_000_000
LARGEST = 500_000_000
"""Cases up to which tables are drawn."""
NEAR = 1e-9
"""Relative difference up to which two statistics count as equal."""


@dataclass(frozen=True, eq=False)
class ContingencyTest:
    """A table tested as a whole, and its cells: NaN where fewer than two rows or columns have cases."""

    table: Counts
    expected: Numbers
    adjusted_residuals: Numbers
    statistic: float
    degrees_of_freedom: int
    p_value: float
    method: str
    cramers_v: float


def contingency_test(
    *, table: ArrayLike, method: Method = "auto", draws: int = 9_999, seed: int = 0
) -> ContingencyTest:
    """Say whether the rows of a table (models, months) differ in how their cases fall into the columns (faults found).

    Parameters
    ----------
    table
        Counts, two axes: whole numbers from 0 up. Each case stands in one cell, and the cases are independent.
    method
        "chi-squared": Pearson's statistic against its large-sample distribution. "exact": all tables with the same
        margins, those at least as far off by Pearson's statistic. "monte-carlo": of `draws` such tables drawn at
        random. "auto": chi-squared where every expected count is 5 or more, else exact where 20,000 tables are enough,
        else monte-carlo.
    draws, seed
        Tables drawn, and where the random draws begin.

    Returns
    -------
    ContingencyTest
        `expected` = row total x column total / all; `adjusted_residuals`, each cell's departure over its own standard
        error: about standard normal while rows and columns have nothing to do with each other; `statistic`,
        `degrees_of_freedom`, `p_value`, the `method` used; `cramers_v`, from 0 (the same mix everywhere) to 1.

    Notes
    -----
    Landmarks: the same mix in all rows has statistic 0 and p 1; rows and columns without cases are left out of the
    degrees of freedom. The adjusted residual is (n - e) / sqrt(e (1 - row share) (1 - column share)). Of many cells
    some lie far off by chance: adjust their p-values. A p-value drawn is (1 + hits) / (1 + draws), so never 0.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a table without two axes; an unknown method; an exact test of
        too many tables; draws below 99 or above 1,000,000.

    References
    ----------
    1. S. J. Haberman, Biometrics 29, 1973, 205-220 (adjusted residuals).
    2. G. H. Freeman and J. H. Halton, Biometrika 38, 1951, 141-149 (exact test).
    3. W. G. Cochran, Biometrics 10, 1954, 417-451 (expected counts).

    Examples
    --------
    >>> r = contingency_test(table=[[30, 10, 20], [20, 25, 15]])
    >>> f"chi-squared {r.statistic:.2f}, {r.degrees_of_freedom} degrees of freedom, p {r.p_value:.3f}"
    'chi-squared 9.14, 2 degrees of freedom, p 0.010'

    The two rows differ in their mix: mostly in the second column.
    """
    x = arguments.counts("table", table)
    if x.ndim != 2:
        raise ValueError(f"table must have two axes, rows and columns: {x.ndim}")
    arguments.countable(x.sum(), "table")
    arguments.one_of("method", method, get_args(Method))
    draws = arguments.whole("draws", draws, 99)
    if draws > MOST_DRAWS:
        raise ValueError(f"draws must be at most {MOST_DRAWS:,}: {draws}")
    seed = arguments.whole("seed", seed, 0)
    full = x.astype(np.float64)
    rows, columns, total = full.sum(axis=1), full.sum(axis=0), full.sum()
    all_cases = max(total, 1.0)
    expected = np.outer(rows, columns) / all_cases
    spread = expected * np.outer(1.0 - rows / all_cases, 1.0 - columns / all_cases)
    with np.errstate(invalid="ignore", divide="ignore"):
        residuals = np.where(spread > 0, (full - expected) / np.sqrt(spread), np.nan)
    kept = x[np.ix_(rows > 0, columns > 0)]
    r, c = kept.shape
    freedom = max(r - 1, 0) * max(c - 1, 0)
    used: str = "chi-squared" if method == "auto" else method
    p, statistic, v = np.nan, np.nan, 0.0
    if freedom:
        there = expected[np.ix_(rows > 0, columns > 0)]
        statistic = _pearson(kept.astype(np.float64), there)
        v = float(np.sqrt(statistic / (all_cases * (min(r, c) - 1))))
        used, p = _p_value(kept, there, statistic, freedom, method, draws, seed)
    return ContingencyTest(
        table=arguments.frozen_counts(x), expected=arguments.frozen(expected),
        adjusted_residuals=arguments.frozen(residuals), statistic=float(statistic), degrees_of_freedom=freedom,
        p_value=float(p), method=used, cramers_v=min(v, 1.0) if freedom else np.nan,
    )


def _pearson(table: Numbers, expected: Numbers) -> float:
    return float(((table - expected) ** 2 / expected).sum())


def _p_value(
    table: Counts, expected: Numbers, statistic: float, freedom: int, method: str, draws: int, seed: int
) -> tuple[str, float]:
    total = int(table.sum())
    if method == "auto" and (expected.min() >= THIN or total > LARGEST):
        method = "chi-squared"
    if method == "chi-squared":
        return method, float(never_zero(np.asarray(special.chdtrc(freedom, statistic))))
    if method in ("auto", "exact"):
        found = _exact(table, expected, statistic)
        if found is not None:
            return "exact", found
        if method == "exact":
            raise ValueError(f"table has more than {MOST_TABLES:,} others with its margins; use method monte-carlo")
    if total > LARGEST:
        raise ValueError(f"table must hold at most {LARGEST:,} cases for method monte-carlo")
    return "monte-carlo", _drawn(table, expected, statistic, draws, seed)


def _exact(table: Counts, expected: Numbers, statistic: float) -> float | None:
    """The chance of all tables with these margins that are at least as far off; None where there are too many."""
    rows, columns = table.sum(axis=1).tolist(), tuple(table.sum(axis=0).tolist())
    log = special.gammaln
    # Of what is left of each column: (how far off so far, log of the chance's terms), row by row.
    states: list[tuple[tuple[int, ...], float, float]] = [(columns, 0.0, 0.0)]
    for at, size in enumerate(rows[:-1]):
        grown = []
        for left, far, chance in states:
            for cells in _fillings(size, left):
                off = sum((n - e) ** 2 / e for n, e in zip(cells, expected[at], strict=True))
                term = float(sum(log(n + 1.0) for n in cells))
                grown.append((tuple(a - b for a, b in zip(left, cells, strict=True)), far + off, chance - term))
                if len(grown) > MOST_TABLES:
                    return None
        states = grown
    margins = float(log(np.array([*rows, *columns]) + 1.0).sum() - log(table.sum() + 1.0))
    found = 0.0
    for left, far, chance in states:
        far += sum((n - e) ** 2 / e for n, e in zip(left, expected[-1], strict=True))
        if far >= statistic * (1.0 - NEAR) - NEAR:
            found += float(np.exp(margins + chance - sum(log(n + 1.0) for n in left)))
    return min(found, 1.0)


def _fillings(size: int, left: tuple[int, ...]) -> list[tuple[int, ...]]:
    """All ways to put so many cases into columns with so much left; too many are cut off, and then told as such."""
    made: list[tuple[int, ...]] = [()]
    room = sum(left)
    for place, most in enumerate(left):
        room -= most
        grown = []
        for begun in made:
            rest = size - sum(begun)
            low = max(rest - room, 0)
            grown += [(*begun, n) for n in range(low, min(most, rest) + 1)]
            if len(grown) > MOST_TABLES:
                return grown if place == len(left) - 1 else [(0,) * len(left)] * (MOST_TABLES + 1)
        made = grown
    return made


def _drawn(table: Counts, expected: Numbers, statistic: float, draws: int, seed: int) -> float:
    """The share of tables drawn with these margins that are at least as far off, the one seen among them."""
    draw = np.random.default_rng(seed)
    left = np.repeat(table.sum(axis=0)[np.newaxis], draws, axis=0)
    far = np.zeros(draws)
    for at, size in enumerate(table.sum(axis=1)):
        rest = np.full(draws, size)
        beyond = left.sum(axis=1)
        for column in range(left.shape[1]):
            beyond = beyond - left[:, column]
            cell = draw.hypergeometric(left[:, column], beyond, rest)
            far += (cell - expected[at, column]) ** 2 / expected[at, column]
            left[:, column] -= cell
            rest = rest - cell
    hits = int((far >= statistic * (1.0 - NEAR) - NEAR).sum())
    return (1 + hits) / (1 + draws)
