"""What failed most: failed checks by step and fault, with the share that the first few make together."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import CHECKS, CaseList, Count
from rqa.answers.core.grounds import grounds
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import PERIODS, By, Months, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, STEP_LOG
from rqa.measures.run import counts
from rqa.words import NAMES, counted, listed, plural

if TYPE_CHECKING:
    import polars as pl

QUESTION = "failures"
GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG, "fault")


class Failures(Answer):
    """Failed checks, the most first: failures, first, share, low, high, cumulative, cumulative_low, cumulative_high."""

    question = "Failures"
    needs = ("checks",)
    lists = CaseList("listed_failures", {"failures": Count(), "first": Count(("first",))}, rows=CHECKS)


def failures(
    snapshot: Snapshot,
    by: By = ("step", "fault"),
    *,
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> Failures:
    """Say what failed most, and how much of all failures the first few make together.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, step, bench,
    tool, phase, fault. Columns: failures (failed attempts, first and later ones), first (those that were first
    attempts), share of all failures with its Wilson interval low, high; cumulative, the share of this row and those
    above it, with cumulative_low, cumulative_high. Most failures first, then by name. Where no fault is ever given, a
    grouping by fault and others is one by the others alone.

    >>> depot.yields.failures().table.select("step", "fault", "failures", "cumulative").row(0)
    ('align button', 'sticks', 87, 0.075916)

    The commonest failure is a button that sticks after it was aligned: 7.6 % of all.
    """
    import polars as pl

    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    there = grounds(snapshot)
    # Without fault codes the failures are told by what else was asked for.
    uncoded = len(asked.by) > 1 and "fault" in asked.by and not there.lacking("checks")
    lack = there.lack("fault", about="which faults failed") if uncoded else None
    if lack:
        asked = replace(asked, by=tuple(name for name in asked.by if name != "fault"))
        others = listed([NAMES.get(name, name) for name in asked.by])
        lack = lack.followed(f"So the failures are told by {others}.")
    found = counts(
        snapshot.store, "failures", by=asked.by, where=asked.where, months=asked.months, values={"as_of": snapshot.day}
    )
    table, undated = dated(found, asked)
    table = table.filter(pl.col("failures") > 0).sort(
        "failures", *asked.by, descending=[True, *(False for _ in asked.by)]
    )
    notes = [*snapshot.notes, *([lack] if lack else [])]
    if undated:
        notes.append(f"{counted(undated, 'failure has', 'failures have')} no date and no dated job: in no month.")
    if "fault" in asked.by and table.height:
        coded = int(table.filter(pl.col("fault") != "unknown")["failures"].sum())
        of_all = counted(int(table["failures"].sum()), "failure")
        notes.append(f"{coded:,} of {of_all} {plural(coded, 'carries', 'carry')} a fault code.")
    if table.height > 1:
        notes.append(
            "These are counts, not rates: a step that is done often fails often. And the order was found in the same "
            "counts, so the first few will make a little less of the next month's failures."
        )
    settings = {"as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    return Failures(_shares(table, level), settings, tuple(notes))


def _shares(table: "pl.DataFrame", level: float) -> "pl.DataFrame":
    from rqa.stats import proportion_interval

    each = table["failures"].to_numpy()
    made = {}
    for name, count in (("", each), ("cumulative", each.cumsum())):
        r = proportion_interval(successes=count, trials=int(each.sum()), level=level)
        for end, values in (("share", r.estimate), ("low", r.low), ("high", r.high)):
            made[end if not name else name if end == "share" else f"{name}_{end}"] = rounded(values)
    return table.with_columns(values.alias(name) for name, values in made.items())
