"""What the pure functions refuse: which argument, which rule, which value."""

import pandas as pd
import polars as pl
import pytest

from rqa import arguments
from rqa.stats import difference_interval, product_interval, proportion_interval, proportion_test


@pytest.mark.parametrize(
    ("successes", "trials", "message"),
    [
        (3, 2, "successes must not be above trials: successes = 3, trials = 2"),
        ([1, 5, 6], 4, r"successes\[1\] = 5, trials\[1\] = 4 \(and 1 more\)"),
        ([[1, 2], [3, 9]], 4, r"successes\[1, 1\] = 9"),
        (-1, 4, "successes must be at least 0: successes = -1"),
        (1, [4, -2], r"trials must be at least 0: trials\[1\] = -2"),
        ([1, 2.5], 4, r"successes must be whole numbers: successes\[1\] = 2.5"),
        ([1, None], 4, r"successes must not be missing \(NaN or null\): successes\[1\] = nan"),
        ([1, float("nan")], 4, "successes must not be missing"),
        (pd.Series([1, None], dtype="Int64"), 4, "successes must (be numbers, none missing|not be missing)"),
        (pl.Series([1, None]), 4, "successes must not be missing"),
        ([1, float("inf")], 4, r"successes must be at most 2\*\*53: successes\[1\] = inf"),
        (["1", "2"], 4, "successes must be numbers, not <U1"),
        (pd.Series(["1"]), 4, "successes must be numbers"),
        (pl.Series(["1"]), 4, "successes must be numbers"),
        ([True, False], 4, "successes must be numbers, not bool"),
        (None, 4, "successes must not be missing"),
        ({"a": 1}, 4, "successes must be numbers"),
        ([[1], [1, 2]], 4, "successes must be a number or an array of numbers, rows of one length"),
        ([1, 2], [1, 2, 3], r"must be of one shape, or single numbers: successes \(2,\), trials \(3,\)"),
        ([1], [1, 2], "must be of one shape"),
    ],
)
def test_counts(successes, trials, message):
    with pytest.raises(ValueError, match=message):
        proportion_interval(successes=successes, trials=trials)
    with pytest.raises(ValueError, match=message):
        product_interval(successes=successes, trials=trials)


@pytest.mark.parametrize("level", [0, 1, 95, -0.5, float("nan"), "0.95", None, True, [0.9]])
def test_level(level):
    with pytest.raises(ValueError, match="level must be one number between 0 and 1, both left out"):
        proportion_interval(successes=1, trials=2, level=level)


@pytest.mark.parametrize("ask", [difference_interval, proportion_test])
def test_two_groups(ask):
    with pytest.raises(ValueError, match="successes2 must not be above trials2: successes2 = 3, trials2 = 2"):
        ask(successes1=1, trials1=2, successes2=3, trials2=2)
    with pytest.raises(ValueError, match=r"must be of one shape.*successes1 \(2,\).*successes2 \(3,\)"):
        ask(successes1=[1, 2], trials1=9, successes2=[1, 2, 3], trials2=9)


@pytest.mark.parametrize("ask", [proportion_interval, product_interval])
def test_positions_are_refused(ask):
    """Counts are named, since a swap of two counts would go unseen."""
    with pytest.raises(TypeError):
        ask(1, 2)


def test_long_values_are_cut():
    with pytest.raises(ValueError, match=r"\.\.\.$"):
        arguments.counts("successes", ["text"] * 100)
