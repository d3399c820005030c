"""The answers to the questions of `rqa.diagnostic_questions`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False, repr=False)
class LimitChoices(Answer):
    """What other limits would have done: test, unit, side, limit, at_present, caught, missed, held, passed,
    caught_share, caught_low, caught_high, held_share, held_low, held_high, escapes_caught, escapes_missed, extra_held,
    spared, let_through.

    `tests` has a row a curve: test, unit, side, present_limit, jobs, escaped, mended, sound, retested, unknown, back,
    area, area_passed.
    """

    tests: "pl.DataFrame | None" = None

    question = "Limits and what they let through"


@dataclass(frozen=True, eq=False, repr=False)
class MeasuredReadings(Answer):
    """Measured values against their limits: the groups, unit, lower_limit, upper_limit, readings, missing, outside,
    outside_share, outside_low, outside_high, mean, sigma, least, p05, p25, median, p75, p95, most, cpk, ppk, ppk_low,
    ppk_high, no_index, gauge_sigma, guard_lower, guard_upper, in_band.

    `histogram` holds the counts behind it: the groups, unit, lower_limit, upper_limit, start, end, readings. `bands`
    the three counts beside each limit: the groups, unit, side, limit, width, nearest, second, third, expected, p_value.
    """

    histogram: "pl.DataFrame | None" = None
    bands: "pl.DataFrame | None" = None

    question = "Measured values"


@dataclass(frozen=True, eq=False, repr=False)
class StationDrift(Answer):
    """Stations against the others on comparable work: test, unit, station, readings, compared, periods, mean, apart,
    apart_low, apart_high, apart_p, trend, trend_low, trend_high, trend_p, signals, verdict.

    `charts` has a row a period: test, unit, station, period, readings, mean, value, centre, lower, upper, signal, ewma,
    ewma_lower, ewma_upper, ewma_signal.
    """

    charts: "pl.DataFrame | None" = None

    question = "Drift of stations"


@dataclass(frozen=True, eq=False, repr=False)
class Agreement(Answer):
    """Whether measurements and judgements can be believed: study, test, kind, figure, method, value, low, high, share,
    cases.

    `studies` has a row a study and test, `runs` one a test run again with nothing in between.
    """

    studies: "pl.DataFrame | None" = None
    runs: "pl.DataFrame | None" = None

    question = "Agreement"


class DiagnosticOutcomes(Answer):
    """How tests ended: jobs, tests, first_judged, first_passed, first_pass_share, low, high, final_passed,
    final_pass_share, final_low, final_high, aborted, runs, runs_per_job."""

    question = "Outcomes of diagnostics"


class RetestPasses(Answer):
    """Fails that passed again with nothing done: runs, fails, retest_passes, share, low, high, judged, after_work,
    failed_again, not_rerun, untimed, elsewhere."""

    question = "Retest passes"


class Escapes(Answer):
    """Faults caught and escaped: tested, passed, caught, escaped, sensitivity, low, high, escape_share, escape_low,
    escape_high, doubtful, unverified, open, may_escape, least, greatest, least_low, greatest_high,
    first_quarter, median_day, third_quarter."""

    question = "Faults caught and escaped"


@dataclass(frozen=True, eq=False, repr=False)
class CoverageGap(Answer):
    """Come-backs that no test covers: returned, uncovered, not_run, not_passed, escaped, share, low, high, mean_cost,
    cost.

    `whole` is one row over all: returned, uncovered, not_run, not_passed, escaped, not_known, share, low, high.
    """

    whole: "pl.DataFrame | None" = None

    question = "Come-backs that no test covers"


class PredictiveValues(Answer):
    """What a fail and a pass are worth: fails, confirmed, nothing_found, undecided, overkill, low, high, fail_value,
    fail_low, fail_high, passes, escaped, pass_value, pass_low, pass_high."""

    question = "What a fail and a pass are worth"


class Releases(Answer):
    """Jobs released without tests in order: check, jobs, flagged, share, low, high, matured, returned, other_matured,
    other_returned, ratio, ratio_low, ratio_high, p_value."""

    question = "Releases checked"


class ReleaseFaults(Answer):
    """The jobs released so: site, model, procedure, job_id, unit_id, closed_on, check, test, run_at, worked_until,
    returned."""

    question = "Jobs released without tests in order"
