"""A table of counts tested as a whole: against scipy and statsmodels, all permutations of small tables, and draws."""

from itertools import permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as reference
from statsmodels.stats.contingency_tables import Table

from rqa.stats import contingency_test

SEEN = [[30, 10, 20], [20, 25, 15]]


@given(st.integers(2, 4).flatmap(
    lambda c: st.lists(st.lists(st.integers(1, 60), min_size=c, max_size=c), min_size=2, max_size=5)
))
def test_the_statistic_is_that_of_scipy(table: list[list[int]]) -> None:
    r = contingency_test(table=table, method="chi-squared")
    theirs = reference.chi2_contingency(np.array(table), correction=False)
    assert r.statistic == pytest.approx(theirs.statistic, abs=1e-9)
    assert r.degrees_of_freedom == theirs.dof
    assert r.p_value == pytest.approx(theirs.pvalue, rel=1e-9, abs=1e-300)
    assert r.expected == pytest.approx(theirs.expected_freq)
    assert r.cramers_v == pytest.approx(reference.contingency.association(np.array(table), method="cramer"))


@given(st.lists(st.lists(st.integers(1, 40), min_size=3, max_size=3), min_size=2, max_size=4))
def test_the_adjusted_residuals_are_those_of_statsmodels(table: list[list[int]]) -> None:
    """Haberman's residuals; statsmodels calls them standardized."""
    theirs = np.asarray(Table(np.array(table, dtype=float), shift_zeros=False).standardized_resids)
    assert contingency_test(table=table).adjusted_residuals == pytest.approx(theirs, abs=1e-9)


def by_all_permutations(table: Any) -> float:
    """The exact p-value with every case a label: all orders of the column labels beside the row labels."""
    table = np.array(table)
    rows = [r for r, line in enumerate(table) for _ in range(line.sum())]
    labels = [c for line in table for c, n in enumerate(line) for _ in range(n)]
    expected = np.outer(table.sum(1), table.sum(0)) / table.sum()
    seen, hits, number = ((table - expected) ** 2 / expected).sum(), 0, 0
    for order in permutations(labels):
        made = np.zeros(table.shape)
        np.add.at(made, (rows, list(order)), 1)
        number += 1
        hits += ((made - expected) ** 2 / expected).sum() >= seen - 1e-9
    return hits / number


@pytest.mark.parametrize("table", [
    [[3, 0], [1, 3]], [[2, 1, 0], [0, 1, 3]], pytest.param([[2, 0], [1, 2], [0, 2]], marks=pytest.mark.slow),
])
def test_the_exact_chance_is_that_of_all_permutations(table: list[list[int]]) -> None:
    r = contingency_test(table=table, method="exact")
    assert r.method == "exact"
    assert r.p_value == pytest.approx(by_all_permutations(table))


def test_tables_drawn_give_nearly_the_exact_chance() -> None:
    table = [[6, 1, 0], [2, 4, 3], [1, 2, 5]]
    exact, drawn = (contingency_test(table=table, method=m).p_value for m in ("exact", "monte-carlo"))  # type: ignore[arg-type]
    assert drawn == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 9_999))


def test_the_method_is_chosen_by_the_expected_counts() -> None:
    assert contingency_test(table=SEEN).method == "chi-squared"
    assert contingency_test(table=[[3, 1], [0, 4]]).method == "exact"
    wide = np.ones((12, 12), dtype=int)
    assert contingency_test(table=wide, draws=199).method == "monte-carlo"
    with pytest.raises(ValueError, match="use method monte-carlo"):
        contingency_test(table=wide, method="exact")


def test_one_row_or_column_with_cases_is_no_comparison() -> None:
    for table in ([[3, 4]], [[3], [4]], [[3, 4], [0, 0]], [[0, 0], [0, 0]]):
        r = contingency_test(table=table)
        assert r.degrees_of_freedom == 0
        assert np.isnan(r.p_value)
    r = contingency_test(table=[[10, 20, 0], [20, 40, 0]])
    assert (r.statistic, r.degrees_of_freedom, r.p_value) == (0.0, 1, 1.0)


@pytest.mark.slow
def test_where_rows_are_alike_few_tables_are_called_unlike() -> None:
    """600 sparse tables drawn with one mix: at most 5 of 100, and 2.6 standard errors, have p <= 0.05.

    To add up all tables takes 0.15 s, so that is done for 100 of them; the others are drawn.
    """
    draw = np.random.default_rng(3)
    called = 0
    for n in range(600):
        table = draw.multinomial([25, 40, 12], [[0.6, 0.25, 0.1, 0.05]] * 3)
        called += contingency_test(table=table, method="auto" if n < 100 else "monte-carlo", draws=399).p_value <= 0.05
    assert called / 600 <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / 600)
