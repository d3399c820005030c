"""Which repairs came back: the matured come-back rate, by any grouping of the trade."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from rqa.answers.comebacks.left_service import left_service_notes
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import grounds
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.own_work import hang_on_found, untold_classes, workmanship_untold
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_values,
    is_held,
    scope,
)
from rqa.answers.core.told_sites import classes_asked, told_scope
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES, STEP_LOG, TEST_LOG
from rqa.measures.run import counts
from rqa.words import counted, months_said, plural

if TYPE_CHECKING:
    import polars as pl

QUESTION = "comebacks"
GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG, *TEST_LOG, "class")
"""month and week are those of the index job's closing; class that of the come-back."""
INDEX_DISPOSITIONS = ("repaired", "no_fault_found")
COUNTS = ("jobs", "matured", "returned")


class Comebacks(Answer):
    """Come-backs within a window: jobs, matured, returned, rate, low, high."""

    question = "Come-backs"
    needs = (*SEEN, "matured_jobs")
    lists = CaseList(
        "listed_index_jobs",
        {"jobs": Count(), "matured": Count(("matured",)), "returned": Count(("returned",), classed=True)},
    )


@asked_once
def comebacks(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Comebacks:
    """Say what share of the repaired units came back within `window` days of leaving.

    `by` and `where` take month and week (of closing; in `by` alone), site, model, procedure, technician, billing,
    class, and either step, bench, tool, phase (of the job's step log) or test, station (of its diagnostics). `months`
    keeps closing months. `index_disposition` "no_fault_found" asks the same of units that left without a fault found.

    Columns: jobs (index jobs closed up to the as-of day), matured (closed `window` days or more before it), returned
    (matured and back within `window` days), rate = returned / matured with its Wilson interval low, high. Without
    matured jobs there is no data: rate, low and high are null; so they are where no unit is there twice, or where a
    class can be told only from faults that nobody wrote down. With class, jobs of sites at which most come-backs are
    not known by it are left out, and a note says so. A unit that left service within the window counts as not
    come back; a note says so where the rate of those that stayed is higher by a twentieth of itself or more.

    >>> depot.comebacks().table.select("matured", "returned", "rate").rows()
    [(2358, 139, 0.058948)]

    Of the jobs that have been out for 30 days, one unit in seventeen was back by then.
    """
    days_asked(QUESTION, "window", window)
    check_one_of(QUESTION, "index_disposition", index_disposition, INDEX_DISPOSITIONS)
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    asked = told_scope(snapshot, asked, *classes_asked(asked))
    measure = _measure(asked, snapshot.from_rows)
    plain = replace(
        asked, by=tuple(name for name in asked.by if name != "class"),
        where={name: kept for name, kept in asked.where.items() if name != "class"},
    )
    table = kept_counts(
        snapshot, measure, plain, {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
    )
    totals = over_classes(table, asked)
    settings = {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
        "level": level, "method": "wilson",
    }
    shares = with_shares(totals, part="returned", whole="matured", share="rate", level=level)
    return Comebacks(_told(snapshot, asked, window, shares), settings, _notes(snapshot, asked, settings, table))


def _told(snapshot: Snapshot, asked: Scope, window: int, shares: "pl.DataFrame") -> "pl.DataFrame":
    """The shares, with no data where the store cannot tell: no unit is there twice, or no fault is written down."""
    import polars as pl

    untold = pl.lit(bool(grounds(snapshot, window=window).lacking("repeat_units")))
    if "class" in asked.by:
        untold = untold | pl.col("class").is_in(untold_classes(snapshot))
    elif untold_classes(snapshot) and hang_on_found(asked.where.get("class", CLASSES)):
        untold = pl.lit(True)
    return shares.with_columns(pl.when(~untold).then(pl.col(name)).alias(name) for name in ("rate", "low", "high"))


def _measure(asked: Scope, from_rows: bool) -> str:
    steps, tests = asked.named & set(STEP_LOG), asked.named & set(TEST_LOG)
    if steps and tests:
        raise RequestError(
            f"{QUESTION}: {', '.join(sorted(steps))} (step log) and {', '.join(sorted(tests))} (diagnostics) "
            "cannot be combined in one call. Make two calls."
        )
    if steps:
        return "comebacks_by_step"
    if tests:
        return "comebacks_by_test"
    return "comebacks_rows" if from_rows else "comebacks"


def over_classes(table: "pl.DataFrame", asked: Scope) -> "pl.DataFrame":
    """One row a group: denominators over all classes, returns of the classes asked for.

    With class among the groupings every group has one row a class, each with the group's whole denominator.
    """
    import polars as pl

    groups = [name for name in asked.by if name != "class"]
    wanted = list(asked.where.get("class", CLASSES))
    whole = [pl.col(name).sum() for name in ("jobs", "matured")]
    came = pl.col("returned").filter(pl.col("class").is_in(wanted)).sum()
    if "class" not in asked.by:
        totals = table.group_by(groups).agg(*whole, came) if groups else table.select(*whole, came)
    else:
        bases = table.group_by(groups).agg(whole) if groups else table.select(whole)
        kinds = pl.DataFrame({"class": [c for c in CLASSES if c in wanted]}, schema={"class": pl.String})
        returned = table.group_by([*groups, "class"]).agg(pl.col("returned").sum())
        totals = bases.join(kinds, how="cross").join(returned, on=[*groups, "class"], how="left")
        totals = totals.with_columns(pl.col("returned").fill_null(0))
    ordered = totals.select(*asked.by, *COUNTS)
    return ordered.sort(asked.by) if asked.by else ordered


def _waiting(snapshot: Snapshot, asked: Scope, settings: Mapping[str, object]) -> int:
    """How many jobs of these months and filters have not matured, whatever their logs hold."""
    kept = {name: values for name, values in asked.where.items() if name not in {*STEP_LOG, *TEST_LOG, "class"}}
    found = counts(
        snapshot.store, "comebacks", where=kept, months=asked.months,
        values={"window": settings["window"], "as_of": snapshot.day, "disposition": settings["index_disposition"]},
    )
    return int(found["jobs"].sum()) - int(found["matured"].sum())


def _notes(snapshot: Snapshot, asked: Scope, settings: Mapping[str, object], table: "pl.DataFrame") -> tuple[str, ...]:
    notes = [*snapshot.notes, *asked.left_out]
    window = settings["window"]
    overlapping = asked.named & {*STEP_LOG, *TEST_LOG}
    waiting = int(table["jobs"].sum()) - int(table["matured"].sum())
    if waiting:
        if overlapping:
            # A job stands in several rows; each is counted once, under whatever of its log it stands.
            waiting = _waiting(snapshot, asked, settings)
        notes.append(
            f"{counted(waiting, 'job')} closed less than {counted(window, 'day')} before {snapshot.day} "
            f"{plural(waiting, 'has', 'have')} not matured: not in the rate."
            + (" They are counted whatever their logs hold." if overlapping else "")
        )
    notes += left_service_notes(
        snapshot, window=int(str(window)), by=asked.by, where=asked.where, months=asked.months,
        index_disposition=str(settings["index_disposition"]),
    )
    if asked.months and not asked.where and not int(table["jobs"].sum()) and any(
        is_held(snapshot, m) for m in asked.months
    ):
        notes.append(f"No job that could come back was closed in {months_said(*asked.months)}.")
    left_out = counts(snapshot.store, "overlap_count").row(0, named=True)
    if left_out["jobs"]:
        notes.append(
            f"{counted(left_out['jobs'], 'job')} on {counted(left_out['units'], 'unit')} of the store overlap in time "
            "and are left out."
        )
    if overlapping:
        log = "step log" if overlapping & set(STEP_LOG) else "diagnostics"
        notes.append(f"A job counts once under each group its {log} names, so the rows do not add up to the whole.")
    if "class" in asked.by:
        notes.append("Each class is counted against all jobs of its group, so jobs and matured repeat.")
        new = table.filter(table["class"] == "new_fault")["returned"]
        notes += workmanship_untold(snapshot, new_faults=int(new.sum()))
    elif "class" in asked.where:
        notes.append(f"Only come-backs of class {', '.join(asked.where['class'])} count as returned.")
    if settings["index_disposition"] != "repaired":
        notes.append("Index jobs are those closed as no_fault_found; their rate is not that of repairs.")
    return tuple(notes)
