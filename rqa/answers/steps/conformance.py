"""Whether jobs followed their procedure: by step, by kind of breach, and what became of those that did not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.finding import Finding
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import PLANNED
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
    named_groups,
    scope,
)
from rqa.answers.steps.breach_kinds import BATTERY, BESIDE, WORDS
from rqa.answers.steps.breach_risk import COUNTED, by_bench, of_benches, of_comebacks, with_risk
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import count, counted, percent, plural

if TYPE_CHECKING:
    import polars as pl

    from rqa.store.engine import Store

GROUPINGS = (*PERIODS, *JOB_NAMES, "bench")
AVERAGED = tuple(kind for kind in WORDS if kind not in (*BATTERY, "pairing"))
"""Kinds that belong to a step and are counted in its share."""
PER = ("step", "job")
NOT_JUDGED = "The repaired jobs asked about lack a procedure of the reference, or a step of it in their log."
"""Why there is nothing where steps are logged: a lack and no all-clear."""


class Conformance(Answer):
    """Steps done as they should be: step (per step), jobs, as_should, share, low, high, and jobs with each kind of
    breach: missing, skipped, left_failed, out_of_order, check_before_tightening, count_not_done, unequal_connectors,
    irreversible_before_hold; per job also pairing."""

    question = "Conformance with the procedure"
    needs = PLANNED
    nothing_found = NOT_JUDGED
    looks_at = ("closed_there", "logged_there")

    def listed(self) -> CaseList:
        """Jobs that have the step, and those of them with each kind of breach at it."""
        kinds = AVERAGED if self.settings["per"] == "step" else (*AVERAGED, "pairing")
        any_kind = (("at_kind", "=", ""),)
        told = {"jobs": Count(kept=any_kind), "as_should": Count(("followed",), kept=any_kind)}
        told |= {kind: Count(("breached",), kept=(("at_kind", "=", kind),)) for kind in kinds}
        return CaseList(
            "listed_breaches", told, keys={"step": "at_step"}, whole={"step": ""}, values={"window": 0, **later(self)},
        )


@dataclass(frozen=True, eq=False, repr=False)
class Breaches(Answer):
    """Breaches of the procedure and the come-backs after them: kind, step (where asked for), jobs, breached, share,
    low, high, matured, returned, breached_matured, breached_returned, expected, measure, ratio, ratio_low, ratio_high,
    p_value, p_adjusted, verdict.

    `benches` sets each bench beside the others: kind, bench, jobs, breached, other_jobs, other_breached, share, low,
    high, expected, ratio, ratio_low, ratio_high, p_value, p_adjusted; None where groups other than bench are asked for.
    `judged` repaired jobs have a log and a procedure; of `unjudged` others it cannot be told.
    """

    benches: "pl.DataFrame | None" = None
    judged: int = 0
    unjudged: int = 0

    question = "Breaches of the procedure"
    in_table_only = ("low", "high", "matured", "returned", "breached_matured", "measure", "p_value", "p_adjusted")
    needs = PLANNED
    nothing_found = NOT_JUDGED
    looks_at = ("closed_there", "logged_there")
    of_comebacks = ("expected", "measure", "ratio", "ratio_low", "ratio_high", "p_value", "p_adjusted")

    def listed(self) -> CaseList:
        """Jobs that could have the breach, and those that had it; of the whole answer by any of them."""
        told = {
            "jobs": Count(), "breached": Count(("breached",)), "matured": Count(("matured",)),
            "returned": Count(("returned",)), "breached_matured": Count(("breached", "matured")),
            "breached_returned": Count(("breached", "returned")),
        }
        return CaseList(
            "listed_breaches", told, keys={"kind": "at_kind", "step": "at_step"}, whole={"kind": "", "step": ""},
            values=later(self), returned="breached_returned",
        )


def later(answer: Answer) -> dict[str, object]:
    """The day again where logs run on after it, which are then read anew."""
    if answer.asked_of is None:
        return {}
    snapshot = answer.asked_of.snapshot
    if not counts(snapshot.store, "unsettled_jobs", values={"as_of": snapshot.day})["jobs"].sum():
        return {}
    return {"later": snapshot.day}


def conformance(
    snapshot: Snapshot,
    by: By = (),
    *,
    per: str = "step",
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> Conformance:
    """Say in what share of jobs each step of the procedure was done as it should, or each job as a whole.

    `by` and `where` take month and week of closing (in `by` alone), site, model, procedure, technician, billing, bench
    (the one bench that a job's log names, else "several" or "unknown"). `per` is "step" or "job".

    Columns: step (per step), jobs (repaired jobs whose procedure has the step), as_should (it was logged as passed or
    done, and none of the kinds named here was met at it), share = as_should / jobs with its Wilson interval low, high;
    then jobs with each kind of breach: missing, skipped, left_failed, out_of_order, check_before_tightening,
    count_not_done, unequal_connectors, irreversible_before_hold; per job also pairing. A job may have several.

    The battery's order is no part of the shares: `battery_breaches` lists its breaches job by job. Only repaired jobs
    should have gone through the whole procedure, so others are not counted. Without jobs there is no data.

    >>> depot.steps.conformance().table.select("step", "as_should", "jobs", "check_before_tightening").row(0)
    ('align button', 2313, 2524, 203)

    In 203 of 2,524 jobs the button was checked before all was tightened.
    """
    import polars as pl

    check_one_of("conformance", "per", per, PER)
    asked, table, notes = _asked("conformance", snapshot, by, where, months, level, 0, bench=False)
    kinds = AVERAGED if per == "step" else (*AVERAGED, "pairing")
    keys = [*asked.by, "step"] if per == "step" else list(asked.by)
    told = table.filter((pl.col("step") != "") if per == "step" else (pl.col("step") == ""))
    summed = told.group_by([*keys, "kind"]).agg(pl.col("jobs", "breached").sum())
    whole = summed.filter(pl.col("kind") == "").select(
        *keys, "jobs", (pl.col("jobs") - pl.col("breached")).alias("as_should")
    )
    for kind in kinds:
        one = summed.filter(pl.col("kind") == kind)
        if keys:
            whole = whole.join(one.select(*keys, pl.col("breached").alias(kind)), on=keys, how="left")
        else:
            whole = whole.with_columns(pl.lit(one["breached"].sum()).alias(kind))
    whole = whole.with_columns(pl.col(kinds).fill_null(0).cast(pl.Int64)).sort(keys or "jobs")
    made = with_shares(whole, part="as_should", whole="jobs", share="share", level=level)
    made = made.select(*keys, "jobs", "as_should", "share", "low", "high", *kinds)
    settings = {"per": per, "as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    return Conformance(made, settings, notes)


@asked_once
def breaches(
    snapshot: Snapshot,
    by: By = (),
    *,
    steps: bool = False,
    window: int = 30,
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> Breaches:
    """Say how often each kind of breach is met, and whether jobs with it come back more often than like jobs without.

    Groupings as of `conformance`. A row a group and kind, and step with `steps`: kind, jobs (could have had it),
    breached, share with its Wilson interval low, high; matured, returned (of all these jobs), breached_matured,
    breached_returned (of the breached), expected (come-backs of as many like jobs without it), measure ("risk ratio",
    Mantel-Haenszel over procedure x model with Greenland and Robins' interval; "odds ratio, exact" where fewer than 5
    come-backs were seen or expected), ratio, ratio_low, ratio_high (null: without end, or unknown), p_value (exact
    stratified test), p_adjusted (Benjamini-Hochberg over the rows shown), verdict ("comes back more often", "comes
    back less often", "not distinguishable", "nothing to compare with", "too little work to say").

    The kinds: missing, skipped (logged as skipped alone), left_failed (failed and never passed), out_of_order,
    check_before_tightening, count_not_done, unequal_connectors, irreversible_before_hold, pairing; and of the battery
    isolated_late, reconnected_early, which have no share: `battery_breaches` lists them.

    `.benches` sets each bench beside the others, if no grouping but bench is asked for: kind, bench, jobs, breached,
    other_jobs, other_breached (of all other benches), share, low, high, expected (what the bench's work brings in the
    whole depot, its own jobs included), ratio (to the other benches, on comparable work), ratio_low, ratio_high,
    p_value, p_adjusted. `.stated` holds both comparisons, by kind, by kind and step, and by kind and bench.

    >>> depot.steps.breaches().table.select("kind", "breached", "jobs", "verdict").row(0)
    ('missing', 74, 2524, 'not distinguishable')

    74 of 2,524 jobs lack a step of their procedure.
    """
    import polars as pl

    days = days_asked("breaches", "window", window)
    whole = not named_groups("breaches", by)
    asked, table, notes = _asked("breaches", snapshot, by, where, months, level, days, bench=whole)
    told = table.filter(pl.col("kind").is_in(list(WORDS)))
    by_kind = _shown(told.filter(pl.col("step") == ""), [*asked.by, "kind"], level)
    by_step = _shown(told.filter(pl.col("step") != ""), [*asked.by, "kind", "step"], level)
    benches = by_bench(table, level) if "bench" in table.columns and set(asked.by) <= {"bench"} else None
    stated = _stated(by_kind, by_step, benches, asked, days)
    settings = {
        "window": days, "steps": steps, "as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson",
    }
    met = int(by_kind.filter(pl.col("kind").is_in(BATTERY))["breached"].sum())
    if met:
        notes = (
            *notes,
            f"{counted(met, 'breach', 'breaches')} of the battery's order {plural(met, 'is', 'are')} no rate: "
            "battery_breaches() lists each one.",
        )
    judged = int(table.filter((pl.col("kind") == "") & (pl.col("step") == ""))["jobs"].sum())
    unjudged = int(table.filter(pl.col("kind").is_in(BESIDE))["jobs"].sum())
    return Breaches(by_step if steps else by_kind, settings, notes, stated, benches, judged, unjudged)


def breach_counts(
    store: "Store", by: Sequence[str], *, day: date, window: int, where: Mapping[str, Sequence[str]] | None = None,
    months: tuple[date, date] | None = None,
) -> "pl.DataFrame":
    """The counts by group, kind and step; only where logs run on after the day are their rows read."""
    values: dict[str, object] = {"as_of": day, "window": window}
    if counts(store, "unsettled_jobs", values={"as_of": day})["jobs"].sum():
        values["later"] = day
    return counts(store, "conformance", by=by, where=where, months=months, values=values)


def _asked(
    question: str, snapshot: Snapshot, by: By, where: Where | None, months: Months | None, level: float, window: int,
    *, bench: bool,
) -> "tuple[Scope, pl.DataFrame, tuple[str, ...]]":
    import polars as pl

    check_level(question, level)
    asked = scope(question, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, question, asked.where)
    table = breach_counts(
        snapshot.store, ("bench",) if bench else asked.by, day=snapshot.day, window=window, where=asked.where,
        months=asked.months,
    )
    beside = {
        k: int(n)
        for k, n in table.filter(pl.col("kind").is_in(BESIDE)).group_by("kind").agg(pl.col("jobs").sum()).rows()
    }
    whole = table.filter((pl.col("kind") == "") & (pl.col("step") == ""))
    jobs, breached = int(whole["jobs"].sum()), int(whole["breached"].sum())
    notes = list(snapshot.notes)
    if jobs:
        notes.append(
            f"{count(jobs - breached)} of {counted(jobs, 'repaired job')} ({percent(1 - breached / jobs)}) followed "
            "their procedure throughout, as logged."
        )
    if beside.get("no_procedure"):
        notes.append(
            f"{counted(beside['no_procedure'], 'repaired job has', 'repaired jobs have')} no procedure to compare "
            "with: not counted."
        )
    if beside.get("no_log"):
        notes.append(
            f"{counted(beside['no_log'], 'repaired job has', 'repaired jobs have')} no step of their procedure logged: "
            "not counted."
        )
    unusable = counts(snapshot.store, "unusable_rules")
    if unusable.height:
        first = unusable.row(0, named=True)
        notes.append(
            f"{counted(unusable.height, 'rule')} of the reference cannot be judged, such as “{first['step']}” of "
            f"{first['procedure']}: “{first['must_follow']}” comes later, or is not in the procedure."
        )
    notes.append(
        "Order is as logged: by the clock, or by place in the log where a time is missing or times are equal. A breach "
        "is no proof of harm, and a clean log no proof of good work."
    )
    return asked, table, tuple(notes)


def _shown(table: "pl.DataFrame", keys: list[str], level: float) -> "pl.DataFrame":
    """The rows in the order of kinds, with shares but for the battery, and the come-backs of the breached."""
    import polars as pl

    order = {kind: n for n, kind in enumerate(WORDS)}
    rows = with_shares(with_risk(table, keys, level), part="breached", whole="jobs", share="share", level=level)
    averaged = ~pl.col("kind").is_in(BATTERY)
    rows = rows.with_columns(pl.when(averaged).then(pl.col(n)).alias(n) for n in ("share", "low", "high"))
    before, after = keys[: keys.index("kind")], keys[keys.index("kind") + 1 :]
    rows = rows.sort(*before, pl.col("kind").replace_strict(order, return_dtype=pl.Int64), *after)
    jobs, matured, returned, breached, *rest = COUNTED
    return rows.select(
        *keys, jobs, breached, "share", "low", "high", matured, returned, *rest, "expected", "measure", "ratio",
        "ratio_low", "ratio_high", "p_value", "p_adjusted", "verdict",
    )


def _stated(
    by_kind: "pl.DataFrame", by_step: "pl.DataFrame", benches: "pl.DataFrame | None", asked: Scope, window: int
) -> tuple[Finding, ...]:
    """Every comparison once: where all breaches of a kind are at one step, the step's is the kind's again."""
    import polars as pl

    met = by_step.filter(pl.col("breached") > 0)
    groups = [*asked.by, "kind"]
    many = met.group_by(groups).len().filter(pl.col("len") > 1).select(groups)
    several = met.join(many, on=groups, how="semi")
    place = {name: ", ".join(values) for name, values in asked.where.items()}
    found = [*of_comebacks(by_kind, asked.by, window), *of_comebacks(several, asked.by, window)]
    made = tuple(replace(f, scope={**place, **f.scope}) for f in found)
    return made + (tuple(of_benches(benches, place)) if benches is not None else ())
