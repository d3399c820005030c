"""Faults that passed the tests and came back, beside those the tests caught: what share of faults each test catches."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import CaseList, marked
from rqa.answers.core.follow_up_counts import WHOLE, check_index_disposition, days_asked, group_numbers
from rqa.answers.core.ground_list import COVERED
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.core.told_sites import telling_scope
from rqa.answers.tests.covered_tests import NONE_NAMED, coverage
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import FaultSensitivity

QUESTION = "escapes"
GROUPINGS = (*WHOLE, "test", "subsystem")
"""month, week: those of closing; subsystem: the one that the test covers."""
COUNTED = ("tested", "passed", "escaped", "unverified", "open", "caught", "doubtful")
SHOWN = 6
"""Tests named in a note."""
QUARTERS = (0.25, 0.5, 0.75)
Counts = NDArray[np.int64]


class Escapes(Answer):
    """Faults caught and escaped: tested, passed, caught, escaped, sensitivity, low, high, escape_share, escape_low,
    escape_high, doubtful, unverified, open, may_escape, lower_bound, upper_bound, lower_bound_low, upper_bound_high,
    first_quarter, median_day, third_quarter."""

    question = "Faults caught and escaped"
    in_table_only = (
        "passed", "escape_share", "escape_low", "escape_high", "doubtful", "unverified", "open", "may_escape",
        "lower_bound_low", "upper_bound_high", "first_quarter", "third_quarter",
    )
    units: ClassVar[Mapping[str, str]] = {"lower_bound": SHARE, "upper_bound": SHARE}
    needs = COVERED
    lists = CaseList("listed_escapes", marked(*COUNTED), returned="escaped")


def escapes(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = ("test",),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Escapes:
    """Say what share of faults each test caught before release, and which escaped it.

    An escape: the last runs of all the job's tests passed, and the unit came back within `window` days with the
    subsystem found at fault that the test covers. Caught: the test's first run that was not aborted failed, and work
    followed. The step log then has a later attempt at a step that touches that subsystem, or at any step if the job's
    own `found` is that subsystem. A fail without such work may have been a false alarm: doubtful.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, test, subsystem;
    a job counts once in each group that its tests name. Only tests of the table `tests` are in it. Columns: of matured
    jobs: tested, passed (all its tests in the end), escaped, caught; sensitivity = caught / (caught + escaped) with its
    Wilson interval low, high; escape_share = escaped / passed with escape_low, escape_high; doubtful; unverified
    (passed, and come back with nothing found or nothing written down); of jobs not yet matured: open (passed, not back
    so far), may_escape (as many of these as may at most still escape or come back unverified, by the upper
    Clopper-Pearson limit of the matured ones); lower_bound, upper_bound: sensitivity if all that is not known were an
    escape, or a fault caught, and lower_bound_low, upper_bound_high, their outer limits; first_quarter, median_day,
    third_quarter: days from release to the escapes.

    A fault that nobody ever noticed is in none of these, so sensitivity as seen is too high.

    >>> depot.tests.escapes().table.select("test", "caught", "escaped", "sensitivity").row(0)
    ('button cycle', 35, 16, 0.686275)

    The button cycle finds two in three of the faults that it is there for.
    """
    import polars as pl

    from rqa.stats import proportion_interval

    check_level(QUESTION, level)
    check_index_disposition(QUESTION, index_disposition)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    asked = telling_scope(
        snapshot, asked, "found", "logged", what="which faults the tests caught and which escaped them"
    )
    values = {"window": days_asked(QUESTION, "window", window), "as_of": snapshot.day, "disposition": index_disposition}
    found = kept_counts(snapshot, QUESTION, asked, values)
    groups, ripe, young = _split(found, asked)
    days = kept_counts(snapshot, "escapes_days", asked, values)
    known, bounds, may = _sensitivity(ripe, young, level)
    quarters = _quarters(days, groups, len(may), asked)
    lower_bound, lower_bound_low, upper_bound, upper_bound_high = bounds
    out = proportion_interval(successes=ripe["escaped"], trials=ripe["passed"], level=level)
    numbers = {
        "sensitivity": known.estimate, "low": known.low, "high": known.high, "lower_bound": lower_bound,
        "upper_bound": upper_bound,
        "lower_bound_low": lower_bound_low, "upper_bound_high": upper_bound_high, "escape_share": out.estimate,
        "escape_low": out.low, "escape_high": out.high,
    }
    whole = {**{n: ripe[n] for n in COUNTED if n != "open"}, "open": young["open"], "may_escape": may}
    order = (
        "tested", "passed", "caught", "escaped", "sensitivity", "low", "high", "escape_share", "escape_low",
        "escape_high", "doubtful", "unverified", "open", "may_escape", "lower_bound", "upper_bound", "lower_bound_low",
        "upper_bound_high", "first_quarter", "median_day", "third_quarter",
    )
    columns = {n: pl.Series(n, v, dtype=pl.Int64) for n, v in whole.items()}
    columns |= {n: rounded(v).alias(n) for n, v in numbers.items()} | {s.name: s for s in quarters}
    table = pl.DataFrame([*(groups[n] for n in asked.by), *(columns[n] for n in order)])
    settings = {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
        "level": level, "method": "wilson; clopper-pearson for what may still escape",
    }
    return Escapes(table, settings, (*snapshot.notes, *asked.left_out, *_notes(snapshot, table, asked, window)))


def _split(found: "pl.DataFrame", asked: Scope) -> "tuple[pl.DataFrame, dict[str, Counts], dict[str, Counts]]":
    """The groups, and the counts of matured and of other jobs in each."""
    groups, group = group_numbers(found, asked.by)
    number = groups.height if asked.by else int(found.height > 0)
    made = []
    for matured in (True, False):
        here = (found["matured"] == matured).to_numpy()
        sums = {}
        for name in COUNTED:
            sums[name] = np.zeros(number, dtype=np.int64)
            np.add.at(sums[name], group[here], found[name].to_numpy()[here])
        made.append(sums)
    return groups, made[0], made[1]


def _sensitivity(
    ripe: "dict[str, Counts]", young: "dict[str, Counts]", level: float
) -> "tuple[FaultSensitivity, tuple[NDArray[np.float64], ...], Counts]":
    """Of matured jobs; the bounds over them and over all jobs, whichever is wider; what may at most still escape."""
    from rqa.stats import fault_sensitivity, proportion_interval

    known = fault_sensitivity(
        caught=ripe["caught"], escaped=ripe["escaped"], caught_unverified=ripe["doubtful"],
        escaped_unverified=ripe["unverified"], level=level,
    )
    back = proportion_interval(
        successes=ripe["escaped"] + ripe["unverified"], trials=ripe["passed"], method="clopper-pearson", level=level
    )
    at_most = np.where(ripe["passed"] > 0, back.high, 1.0)
    may = np.ceil(young["open"] * at_most - 1e-9).astype(np.int64)
    every = fault_sensitivity(
        caught=ripe["caught"] + young["caught"], escaped=ripe["escaped"] + young["escaped"],
        caught_unverified=ripe["doubtful"] + young["doubtful"],
        escaped_unverified=ripe["unverified"] + young["unverified"] + may, level=level,
    )
    bounds = (
        np.fmin(known.lower_bound, every.lower_bound), np.fmin(known.lower_bound_low, every.lower_bound_low),
        np.fmax(known.upper_bound, every.upper_bound), np.fmax(known.upper_bound_high, every.upper_bound_high),
    )
    return known, bounds, may


def _quarters(days: "pl.DataFrame", groups: "pl.DataFrame", number: int, asked: Scope) -> "list[pl.Series]":
    """The days by which a quarter, a half and three quarters of the escapes were back; null without escapes."""
    import polars as pl

    names = ("first_quarter", "median_day", "third_quarter")
    seen: dict[tuple[object, ...], list[tuple[int, int]]] = {}
    for row in days.sort([*asked.by, "day"]).iter_rows():
        seen.setdefault(row[:-2], []).append((row[-2], row[-1]))
    told = {}
    for key, own in seen.items():
        running = np.cumsum([escaped for _, escaped in own])
        told[key] = [own[np.searchsorted(running, q * running[-1] - 1e-9)][0] for q in QUARTERS]
    rows = [told.get(key) for key in (groups.rows() if asked.by else [()] * number)]
    return [pl.Series(name, [r and r[i] for r in rows], dtype=pl.Int64) for i, name in enumerate(names)]


def _notes(snapshot: Snapshot, table: "pl.DataFrame", asked: Scope, window: int) -> list[str]:
    declared = coverage(snapshot)
    if not declared.any_named:
        return [f"{NONE_NAMED}: nothing says what a test covers, so nothing can be said to escape it."]
    notes = []
    bare = declared.not_named
    if bare:
        notes.append(
            f"{counted(len(bare), 'test that was run is', 'tests that were run are')} not in the table “tests”, so "
            f"left out: {', '.join(bare[:SHOWN])}{', …' if len(bare) > SHOWN else ''}."
        )
    if int(table["escaped"].sum()) + int(table["caught"].sum()):
        notes.append(
            "Caught is what was worked on after a fail, escaped what was found on return within "
            f"{counted(window, 'day')}: faults never noticed are in neither, so sensitivity as seen is too high."
        )
    if "test" in asked.by and int(table["escaped"].sum()):
        notes.append("An escape counts under every test that covers what was found: each had a chance to catch it.")
    if int(table["open"].sum()):
        notes.append(
            f"The outer limits take in what jobs closed less than {counted(window, 'day')} ago may still bring."
        )
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
