"""The answers to the questions of `rqa.risk_questions`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False)
class Bursts(Answer):
    """Where and when events were bunched: burst, dimension, part_no, group, first, last, periods, events, cases,
    expected, ratio, low, high, shape, p_value, p_within, verdict, echo_of, shared.

    `series` holds the counts of each listed group by period: dimension, part_no, group, period, cases, events,
    expected.
    """

    series: "pl.DataFrame | None" = None

    question = "Bursts"
