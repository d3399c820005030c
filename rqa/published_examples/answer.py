"""Every published example beside what this package computes: an overview, or the figures of one example."""

from collections.abc import Callable, Mapping
from typing import Any

from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.published_examples import average_run_lengths, charts, factors, sums
from rqa.published_examples.tables import CheckedFigure, tables

EXAMPLES: Mapping[str, tuple[str, Callable[[dict[str, Any]], list[CheckedFigure]]]] = {
    "constants_printed": ("factors of subgroups, 2 to 10", factors.factors),
    "constants_printed_large": ("factors of subgroups, 11 to 25", factors.factors),
    "constants_computed": ("the factors to six decimals", factors.factors),
    "individuals": ("single values", charts.individuals),
    "rings": ("means of subgroups", charts.rings),
    "rings_unequal": ("means of unequal subgroups", charts.unequal_rings),
    "c_chart_wafers": ("defects on wafers, c chart", charts.wafers),
    "laney_motors": ("faulty motors, p' chart", charts.motors),
    "g_chart_identity": ("gaps between rare events, g chart", charts.gaps),
    "t_chart_valves": ("time between failures, t chart", charts.valves),
    "zone_rules": ("zone rules and a trend", sums.zones),
    "ewma_nist": ("EWMA, settled limits", sums.ewma_handbook),
    "ewma_textbook": ("EWMA, exact limits", sums.ewma_textbook),
    "cusum_nist": ("CUSUM of group means", sums.cusum),
    "cusum_textbook": ("CUSUM of single values", sums.cusum),
    "bernoulli_weights": ("Bernoulli CUSUM, weights", sums.bernoulli),
    "risk_adjusted_weights": ("risk-adjusted CUSUM, weights", sums.risk_adjusted),
    "shewhart_rules": ("run lengths of rules", average_run_lengths.shewhart),
    "cusum_run_lengths": ("run lengths of the CUSUM", average_run_lengths.cusum),
    "ewma_run_lengths": ("run lengths of the EWMA", average_run_lengths.ewma),
    "ewma_crowder": ("run lengths of the EWMA, no change", average_run_lengths.ewma_quiet),
    "capability": ("indices of capability", charts.index),
    "capability_interval": ("interval of an index", charts.interval),
}
"""Blocks of the published values, what each is about, and what computes it."""


class PublishedFigures(Answer):
    """Published figures beside computed ones: figure, published, computed, agrees, why; or a row an example."""

    question = "Published beside computed"


def published(example: str | None = None) -> PublishedFigures:
    """Compute published examples anew and show each printed figure beside ours.

    Without an example: a row for each, with the number of figures and how many agree to the last printed decimal. With
    one: its figures, one a row; `why` explains a difference (misprints, limits printed from rounded constants). The
    notes name the source, and whether its printed values were seen or are recalled.

    Raises `RequestError` for an example that is not there.
    """
    import polars as pl

    if example is None:
        rows = [_summary(name) for name in EXAMPLES]
        schema = {"example": pl.String, "about": pl.String, "figures": pl.Int64, "agree": pl.Int64, "differ": pl.Int64,
                  "explained": pl.Int64, "standing": pl.String}
        notes = ("A figure agrees when it is ours to half a unit of the last printed decimal.",
                 "Standing: seen = the printed values were seen; memory = recalled; recomputed = by another way than "
                 "ours.")
        return PublishedFigures(pl.DataFrame(rows, schema=schema, orient="row"), {}, notes)
    if example not in EXAMPLES:
        raise RequestError(f"published: there is no example {example!r}. There is: {', '.join(EXAMPLES)}.")
    block = tables()[example]
    figures = EXAMPLES[example][1](block)
    table = pl.DataFrame(
        [(f.figure, f.published, f.computed, f.agrees, f.why) for f in figures],
        schema={"figure": pl.String, "published": pl.String, "computed": pl.String, "agrees": pl.Boolean,
                "why": pl.String},
        orient="row",
    )
    said = tuple(f"{name.capitalize()}: {block[name]}" for name in ("source", "standing", "note") if name in block)
    return PublishedFigures(table, {"example": example}, said)


def _summary(name: str) -> tuple[str, str, int, int, int, int, str]:
    about, compute = EXAMPLES[name]
    block = tables()[name]
    figures = compute(block)
    differ = [f for f in figures if not f.agrees]
    standing = str(block["standing"]).split(",")[0].split(";")[0].split(" (")[0]
    return (
        name,
        about,
        len(figures),
        len(figures) - len(differ),
        len(differ),
        sum(bool(f.why) for f in differ),
        standing,
    )
