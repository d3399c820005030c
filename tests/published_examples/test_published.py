"""Published examples beside computed ones: all of them are shown, and every difference is explained."""

import polars as pl
import pytest

import rqa
from rqa.errors import RequestError
from rqa.published_examples.answer import EXAMPLES
from rqa.published_examples.tables import printed, significant, tables

NO_EXAMPLES = {"constants_misprints", "anderson_darling_points"}
"""Explanations of the tables beside them, and points of an approximation that holds to 3 % only."""
DIFFER = {
    "constants_printed": 2, "constants_printed_large": 16, "individuals": 2, "rings": 2, "t_chart_valves": 1,
    "ewma_nist": 1, "cusum_run_lengths": 1, "ewma_run_lengths": 2, "capability_interval": 1,
}
"""Figures that are not ours, each shown wrong, or made of rounded figures, beside its table in `shared`."""


def test_every_block_of_the_shared_tables_is_shown() -> None:
    assert set(EXAMPLES) == set(tables()) - NO_EXAMPLES


def test_every_figure_agrees_or_is_explained() -> None:
    overview = rqa.published().table
    assert dict(overview.filter(pl.col("differ") > 0).select("example", "differ").iter_rows()) == DIFFER
    assert overview["differ"].to_list() == overview["explained"].to_list()
    assert overview["figures"].sum() == overview["agree"].sum() + sum(DIFFER.values())


def test_an_example_shows_its_figures_and_its_source() -> None:
    r = rqa.published("individuals")
    upper = r.table.filter(pl.col("figure") == "upper limit").row(0, named=True)
    assert (upper["published"], upper["computed"], upper["agrees"]) == ("55.8041", "55.8024", False)
    assert "we get 55.8041" in upper["why"]
    assert r.notes[0].startswith("Source: NIST/SEMATECH")


def test_what_is_not_there_is_named() -> None:
    with pytest.raises(RequestError, match=r"no example 'moon'\. There is: constants_printed"):
        rqa.published("moon")


@pytest.mark.parametrize(
    ("text", "value", "agrees", "shown"),
    [
        ("1.25", 1.2549, True, "1.25"),
        ("1.25", 1.2551, False, "1.26"),
        ("16", 16.4, True, "16"),
        ("0.3", 0.25, True, "0.3"),
    ],
)
def test_half_a_unit_of_the_last_printed_decimal(text: str, value: float, agrees: bool, shown: str) -> None:
    found = printed("x", text, value)
    assert (found.agrees, found.computed) == (agrees, shown)


def test_significant_digits() -> None:
    assert [significant("x", p, p, 3).published for p in (168.0, 26.6, 1.71)] == ["168", "26.6", "1.71"]
