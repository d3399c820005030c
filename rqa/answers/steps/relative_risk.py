"""How many times the risk: come-backs after a failed check, rework, a skipped check, by tool and by bench."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.finding import Finding
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.own_work import in_words
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level, check_values, named_groups, scope
from rqa.answers.core.told_sites import told_scope
from rqa.answers.steps.declared_steps import DeclaredStep, declared_steps
from rqa.answers.steps.step_cautions import cautions, next_check
from rqa.answers.steps.step_pairs import AFTER, Ints, Pair, pairs
from rqa.contract import CLASSES, OWN_WORK
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES, names_only
from rqa.words import count, counted, percent

if TYPE_CHECKING:
    import polars as pl

QUESTION = "step_relative_risk"
FILTERS = ("month", *JOB_NAMES)
FEW = 5
"""Come-backs on either side below which the exact odds ratio stands for the risk ratio."""
MOST_EXACT = 2000
EVERY = "all"
SAID = {
    "failed check": "after a failed first check", "rework": "after rework", "skipped check": "after a skipped check",
    "tool": "with the tool", "bench": "after work at the bench",
}
BESIDE = {
    "failed check": "where it passed", "rework": "where it was done once", "skipped check": "where it was checked",
    "tool": "with other tools", "bench": "after work elsewhere",
}
CHECKS = {
    "tool": "test the tool; look at its setting and at five units done with it",
    "bench": "look at the order of steps, tools and light at the bench, not at persons",
    "skipped check": "ask why the check is skipped; make it a hold point if it can be missed",
}


class StepRelativeRisk(Answer):
    """Come-backs after what happened at a step: after, step, place, class, jobs, returned, rate, other_jobs,
    other_returned, other_rate, strata, ratio, low, high, method, p_value, p_adjusted, unlike_p."""

    question = "Come-backs after what happened at a step"
    in_table_only = (
        "returned", "other_jobs", "other_returned", "other_rate", "strata", "method", "p_value", "unlike_p",
    )
    needs = ("steps", *SEEN)
    lists = CaseList(
        "listed_after_step", {"cases": Count(), "back": Count(("returned",), classed=True)},
        rows=("job and place", "jobs and places"), keys={"after": "after", "step": "at_step", "place": "place"},
        returned="back",
    )
    """Wherever it happened; `jobs` and `returned` leave out kinds of work in which it happened always or never."""


@dataclass(frozen=True)
class Risk:
    """One pair with its ratio: `tables` summed over strata that have both sides."""

    pair: Pair
    back: int
    jobs: int
    other_back: int
    other_jobs: int
    strata: int
    ratio: float
    low: float
    high: float
    method: str
    p_value: float
    unlike_p: float
    expected: float


@asked_once
def step_relative_risk(
    snapshot: Snapshot,
    after: By = AFTER,
    *,
    where: Where | None = None,
    months: Months | None = None,
    window: int = 30,
    classes: By = OWN_WORK,
    each_class: bool = False,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> StepRelativeRisk:
    """Say how many times as likely matured jobs came back after what happened at a step as like jobs without it.

    `after` names what is looked at: "failed check" (first attempt failed, against passed), "rework" (tried again,
    against done once), "skipped check" (against checked), each for every step; "tool" (each tool of a step against the
    step's others) and "bench" (jobs worked on at it against all others). `classes` are the come-backs that count,
    together or, with `each_class`, one by one. Filters: site, model, procedure, technician, billing.

    Like jobs are those of the same procedure and model: Mantel-Haenszel risk ratio with Greenland and Robins' limits;
    with fewer than five come-backs on a side the exact odds ratio, which for rare come-backs is nearly the same. The
    p-value is that of the exact stratified test, p_adjusted after Benjamini and Hochberg over all pairs of the answer.
    unlike_p, Tarone's test, says whether one ratio fits all procedures and models; where it is small, ask them apart.

    Columns: after, step, place (tool or bench), class, jobs, returned, rate, other_jobs, other_returned, other_rate
    (in strata that have both), strata, ratio, low, high, method, p_value, p_adjusted, unlike_p.

    >>> r = depot.steps.relative_risk(after="rework").table.row(0, named=True)
    >>> r["step"], r["returned"], r["jobs"], r["ratio"], r["low"], r["high"]
    ('align button', 7, 146, 0.941745, 0.450549, 1.96845)

    After a button had been aligned again, jobs came back as often as comparable work: the limits hold 1.
    """
    check_level(QUESTION, level)
    window = days_asked(QUESTION, "window", window)
    check_index_disposition(QUESTION, index_disposition)
    looked, kinds = named_groups(QUESTION, after), named_groups(QUESTION, classes)
    names_only(QUESTION, "comparison", looked, AFTER)
    names_only(QUESTION, "class", kinds, CLASSES)
    asked = scope(QUESTION, by=(), where=where, months=months, allowed=FILTERS)
    check_values(snapshot.store, QUESTION, asked.where)
    if not kinds:
        raise RequestError(f"{QUESTION}: classes names at least one of {', '.join(CLASSES)}.")
    alike = {kind: [kind] for kind in kinds} if each_class else {EVERY: list(kinds)}
    asked = told_scope(snapshot, asked, *alike.values())
    values = {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
    made = _risks(list(pairs(snapshot, asked, after=looked, values=values, classes=alike)), level)
    declared = declared_steps(snapshot.store)
    stated = tuple(
        _stated(r, declared, window, kinds)
        for r in made
        if not np.isnan(r.p_value) and min(r.jobs, r.other_jobs) >= SMALLEST
    )
    settings = {
        "after": looked, "window": window, "as_of": snapshot.day, "classes": kinds,
        "index_disposition": index_disposition, "where": dict(asked.where), "months": asked.months, "level": level,
        "method": "Mantel-Haenszel over procedure and model",
    }
    notes = [*snapshot.notes, *asked.left_out]
    if "rework" in looked and "failed check" in looked:
        notes.append("Most rework follows a failed check, so the two say nearly the same.")
    if any(r.method == "exact odds ratio" for r in made):
        notes.append(f"With fewer than {FEW} come-backs on a side the ratio is one of odds, with exact limits.")
    if stated:
        notes.append(
            f"p_adjusted is over all {counted(len(made), 'row')}; findings are judged among the {count(len(stated))} "
            f"with {SMALLEST} jobs or more on either side, and by the worse side of each alone, so that more may be "
            "found."
        )
    return StepRelativeRisk(_table(made), settings, tuple(notes), stated)


def _risks(asked: Sequence[Pair], level: float) -> list[Risk]:
    """The ratios of all pairs, those of Mantel and Haenszel worked side by side."""
    from rqa.stats import mantel_haenszel
    from rqa.stats.stratified import exact_p_of_first

    kept = [pair.tables[(pair.tables.sum(axis=2) > 0).all(axis=1)] for pair in asked]
    filled = np.zeros((len(kept), max((len(both) for both in kept), default=0), 2, 2), dtype=np.int64)
    for into, both in zip(filled, kept, strict=True):
        into[: len(both)] = both
    r = mantel_haenszel(filled, measure="risk", level=level)
    common = zip(*(a.tolist() for a in (r.estimate, r.low, r.high, r.tarone_p)), strict=True)
    tests = exact_p_of_first([(both[:, :, 0].T, both.sum(axis=2).T) for both in kept])
    return [_risk(*each, level) for each in zip(asked, kept, common, tests, strict=True)]


def _risk(
    pair: Pair, both: Ints, common: tuple[float, float, float, float], test: tuple[float, float, float], level: float
) -> Risk:
    from rqa.stats import exact_common_odds

    (back, fine), (other_back, other_fine) = both.sum(axis=0).tolist() if len(both) else ((0, 0), (0, 0))
    if not len(both):
        nan = float("nan")
        return Risk(pair, 0, 0, 0, 0, 0, nan, nan, nan, "", nan, nan, nan)
    p_value, _, expected = test
    ratio, low, high, unlike_p = common
    method = "Mantel-Haenszel"
    if min(back, other_back) < FEW and back + other_back <= MOST_EXACT:
        odds = exact_common_odds(both, level=level)
        ratio, low, high, method = odds.estimate, odds.low, odds.high, "exact odds ratio"
    return Risk(
        pair, back, back + fine, other_back, other_back + other_fine, len(both), ratio, low, high, method,
        p_value, unlike_p, expected,
    )


def _stated(r: Risk, declared: Sequence[DeclaredStep], window: int, classes: Sequence[str]) -> Finding:
    pair = r.pair
    scope = {"step": pair.step} if pair.step else {}
    if pair.place:
        scope[pair.after] = pair.place
    if pair.kind != EVERY:
        scope["class"] = pair.kind
    of, mark = in_words(classes if pair.kind == EVERY else (pair.kind,))
    here = [s for s in declared if s.step == pair.step]
    unlike = "; the ratio differs between procedures or models" if r.unlike_p < 0.05 else ""
    return Finding(
        kind=f"come-backs by {pair.after}{mark}",
        scope=scope,
        what=(
            f"come-backs within {counted(window, 'day')} {of} {SAID[pair.after]} {percent(r.back / r.jobs)} "
            f"({count(r.back)} of {count(r.jobs)}), {percent(r.other_back / r.other_jobs)} {BESIDE[pair.after]}"
        ),
        measure="ratio of odds" if r.method == "exact odds ratio" else "ratio of risks",
        size=r.ratio,
        low=r.low,
        high=r.high,
        worse=r.back > r.expected,
        mirrored=True,
        jobs=r.jobs,
        p_value=r.p_value,
        caution=f"compared with the same procedure and model{unlike}; {cautions(here[0].hazards if here else ())}",
        check=CHECKS.get(pair.after) or (next_check(here[0].phase, here[0].hazards) if here else next_check("")),
        avoided=max(0.0, r.back - r.jobs * r.other_back / r.other_jobs),
        events=r.back,
    )


def _table(made: Sequence[Risk]) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import benjamini_hochberg

    adjusted = benjamini_hochberg(p_values=[r.p_value for r in made]).p_adjusted.tolist() if made else list[float]()
    texts = {
        "after": [r.pair.after for r in made],
        "step": [r.pair.step for r in made],
        "place": [r.pair.place for r in made],
        "class": [r.pair.kind for r in made],
    }
    fields = {"jobs": "jobs", "returned": "back", "other_jobs": "other_jobs", "other_returned": "other_back"}
    columns = {name: pl.Series([getattr(r, a) for r in made], dtype=pl.Int64) for name, a in fields.items()}
    nan = float("nan")
    columns |= {
        "rate": rounded(r.back / r.jobs if r.jobs else nan for r in made),
        "other_rate": rounded(r.other_back / r.other_jobs if r.other_jobs else nan for r in made),
        "strata": pl.Series([r.strata for r in made], dtype=pl.Int64),
        "ratio": rounded(r.ratio for r in made),
        "low": rounded(r.low for r in made),
        "high": rounded(r.high for r in made),
        "method": pl.Series([r.method for r in made], dtype=pl.String),
        "p_value": rounded_p_values(r.p_value for r in made),
        "p_adjusted": rounded_p_values(adjusted),
        "unlike_p": rounded_p_values(r.unlike_p for r in made),
    }
    order = (
        "jobs", "returned", "rate", "other_jobs", "other_returned", "other_rate", "strata", "ratio", "low", "high",
        "method", "p_value", "p_adjusted", "unlike_p",
    )
    return pl.DataFrame(
        [pl.Series(name, values, dtype=pl.String) for name, values in texts.items()]
        + [columns[name].alias(name) for name in order]
    )
