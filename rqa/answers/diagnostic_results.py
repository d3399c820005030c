"""The answers to the questions of `rqa.diagnostic_questions`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False)
class LimitChoices(Answer):
    """What other limits would have done to past jobs: test, unit, side, limit, at_present, caught, missed, held, passed,
    caught_share, caught_low, caught_high, held_share, held_low, held_high, escapes_caught, escapes_missed, extra_held,
    spared, let_through.

    `tests` has a row a curve: test, unit, side, present_limit, jobs, escaped, mended, sound, retested, unknown, back,
    area.
    """

    tests: "pl.DataFrame | None" = None

    question = "Limits and what they let through"


@dataclass(frozen=True, eq=False)
class MeasuredReadings(Answer):
    """Measured values against their limits: the groups, unit, lower_limit, upper_limit, readings, missing, outside,
    outside_share, outside_low, outside_high, mean, sigma, least, p05, p25, median, p75, p95, most, cpk, ppk, ppk_low,
    ppk_high, no_index, gauge_sigma, guard_lower, guard_upper, in_band, piled_lower, piled_lower_p, piled_upper,
    piled_upper_p.

    `histogram` holds the counts behind it: the groups, unit, lower_limit, upper_limit, start, end, readings. `bands`
    the three counts beside each limit: the groups, unit, side, limit, width, nearest, second, third, expected, p_value.
    """

    histogram: "pl.DataFrame | None" = None
    bands: "pl.DataFrame | None" = None

    question = "Measured values"


@dataclass(frozen=True, eq=False)
class StationDrift(Answer):
    """Stations against the others on comparable work: test, unit, station, readings, compared, periods, mean, apart,
    apart_low, apart_high, apart_p, trend, trend_low, trend_high, trend_p, signals, verdict.

    `charts` has a row a period: test, unit, station, period, readings, mean, value, centre, lower, upper, signal, ewma,
    ewma_lower, ewma_upper, ewma_signal.
    """

    charts: "pl.DataFrame | None" = None

    question = "Drift of stations"


@dataclass(frozen=True, eq=False)
class Agreement(Answer):
    """Whether measurements and judgements can be believed: study, test, kind, figure, method, value, low, high, share,
    units.

    `studies` has a row a study and test, `runs` one a test run again with nothing done in between.
    """

    studies: "pl.DataFrame | None" = None
    runs: "pl.DataFrame | None" = None

    question = "Agreement"
