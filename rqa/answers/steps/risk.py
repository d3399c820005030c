"""How risky each step is: how often its check fails, what is attributed to it, what slips through, what that costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.comebacks.costs import avoided_cost
from rqa.answers.comebacks.rate import comebacks
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CHECKS, CaseList, Count
from rqa.answers.core.filters import filters_of
from rqa.answers.core.ground_list import LAID
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_values
from rqa.answers.steps.attribution import (
    DONE_STEPS,
    MIN_OVERLAP,
    PER,
    Attributed,
    attributed,
    checked,
    comparable,
    contrasted,
    notes_on,
)
from rqa.answers.steps.cause_fit import NONE, summed
from rqa.answers.steps.cause_patterns import Records, records
from rqa.answers.steps.declared_steps import DeclaredStep, declared_steps
from rqa.answers.steps.exposure import ATTEMPTS, in_words
from rqa.answers.steps.step_cautions import cautions, next_check
from rqa.answers.steps.step_prices import MeanCost, Prices, mean_costs, weighted
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.errors import RequestError
from rqa.measures.groupings import names_only
from rqa.measures.run import counts
from rqa.words import there_is

if TYPE_CHECKING:
    import polars as pl

QUESTION = "step_risk"
JOBS = 1000
SORTS = (
    "per_10000", "attributed", "fails_per_1000", "failed", "escaping", "cost_per_1000", "cost", "exposures", "checked",
    "high", "low", "step",
)
NOT_PRICED_BY = {"months": {"month", "week"}, "technicians": {"technician"}}
"""Groupings and filters that the mean cost of a come-back does not know, in words."""
Key = tuple[tuple[Any, ...], str]


UNTOUCHED, DONE = "touches no subsystem", "done"
"""Why a step that was done has no exposures: nothing can be attributed to it at all; or no job counted had it."""
FAILS = ("fails_per_1000", "fails_low", "fails_high")
"""What is known of a step without any come-back."""
OF_STEPS = CaseList(
    DONE_STEPS.file,
    {
        **DONE_STEPS.counts, "checked": Count(("exposure",), file="listed_attempts", rows=CHECKS),
        "failed": Count(("failed",), file="listed_attempts", rows=CHECKS),
    },
    values=DONE_STEPS.values, joined=DONE_STEPS.joined, returned="came_back",
)
"""Jobs in which a step was done, those of them that came back with what it touches, and its checks."""


@dataclass(frozen=True, eq=False, repr=False)
class StepRisk(Answer):
    """Risk of each step: checked, failed, fails_per_1000, fails_low, fails_high, exposures, attributed,
    per_10000, low, high, shared_with, escaping, cost, cost_per_1000, cost_low, cost_high, hazards, caution,
    next_check. `unlaid` says of rows with no exposures, by groups and step, that the step was done all the same."""

    unlaid: Mapping[tuple[Any, ...], str] = field(default_factory=dict)

    question = "Risky steps"
    lists = OF_STEPS
    in_table_only = (
        "fails_low", "fails_high", "exposures", "attributed", "shared_with", "cost", "cost_low", "cost_high", "hazards",
        "next_check",
    )
    needs = LAID
    apart = FAILS


@dataclass(frozen=True, eq=False, repr=False)
class StepMap(Answer):
    """A procedure's steps in order: place, step, phase, hold_point, irreversible, and the columns of `StepRisk`.

    `unlaid` is that of `StepRisk`.
    """

    unlaid: Mapping[tuple[Any, ...], str] = field(default_factory=dict)

    question = "Step map"
    in_table_only = (
        "phase", "checked", "failed", "fails_low", "fails_high", "exposures", "attributed", "shared_with", "cost",
        "cost_per_1000", "cost_low", "cost_high", "hazards", "next_check",
    )
    needs = LAID
    apart = FAILS

    def listed(self) -> CaseList:
        """The jobs of its procedure."""
        where: Any = self.settings["where"]
        return replace(OF_STEPS, where={**where, "procedure": (str(self.settings["procedure"]),)})


@dataclass(frozen=True)
class Part:
    """What one fit lays to a cause: its numbers there, and the mean cost of such a come-back where it is known."""

    exposures: float
    number: float
    rate: float
    low: float
    high: float
    tested: float
    escaped: float
    price: MeanCost | None


@dataclass
class StepAttribution:
    """What is attributed to one step of one group, by subsystem and cause, and the steps not told from it."""

    parts: dict[tuple[str, int], Part] = field(default_factory=dict)
    others: dict[str, None] = field(default_factory=dict)


@asked_once
def step_risk(
    snapshot: Snapshot,
    by: By = (),
    *,
    where: Where | None = None,
    months: Months | None = None,
    window: int = 30,
    sort: str = "per_10000",
    min_overlap: float = MIN_OVERLAP,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> StepRisk:
    """Say of every step how often its check fails and how many come-backs it most likely causes.

    `by` takes month, week, site, model, procedure, technician, billing; `where` the same but periods, and step, which
    keeps rows (every step still is a candidate in the fits). `sort` names the column that puts the riskiest first.

    Columns: checked (first attempts that passed or failed, in all jobs), failed, fails_per_1000 of those checked with
    Wilson's fails_low, fails_high; exposures (matured jobs that did it), attributed (come-backs of class repeat and
    workmanship attributed to it, see `rqa.answers.steps.attribution`), per_10000 exposures with low, high, summed over
    the subsystems it touches; shared_with (steps that cannot be told from it: the numbers are those of them all
    together); escaping (of its come-backs that a test of the job covers, the share whose job had passed the last runs
    of all its tests); cost (mean of such come-backs), cost_per_1000 (expected cost of come-backs for 1,000 jobs with
    it) with cost_low, cost_high, in the workspace's currency; hazards, caution, next_check.

    >>> depot.steps.risk().table.select("step", "attributed", "exposures", "shared_with").row(0)
    ('release display cable', 34.672491, 1040, 'reseat display cable')

    Some 35 come-backs are attributed to the display cable; to its release or its reseating, the jobs cannot tell.
    """
    names_only(QUESTION, "sorting", (sort,), SORTS)
    kept = _kept_steps(where)
    asked, values = checked(
        QUESTION, snapshot, by, _but_step(where), months, window, index_disposition, level, min_overlap
    )
    if kept is not None:
        check_values(snapshot.store, QUESTION, {"step": kept})
    seen = records(snapshot, asked, values=values, covariate="", within=comparable(asked))
    made = list(attributed(seen, per="step", min_overlap=min_overlap, level=level))
    declared = declared_steps(snapshot.store)
    prices = mean_costs(snapshot, asked, values, level)
    # Checks are known at every site that logs its steps.
    every = replace(asked, where=filters_of(QUESTION, _but_step(where)))
    table = _table(snapshot, every, seen, made, declared, prices, level)
    if kept is not None:
        import polars as pl

        table = table.filter(pl.col("step").is_in(kept))
    order = [sort, *(name for name in (*asked.by, "step") if name != sort)]
    table = table.sort(order, descending=[sort != "step", *(False for _ in order[1:])], nulls_last=True)
    shown_where = dict(asked.where) if kept is None else {**asked.where, "step": kept}
    settings = {
        "window": window, "as_of": snapshot.day, "sort": sort, "min_overlap": min_overlap,
        "index_disposition": index_disposition, **asked.settings(),
        "where": shown_where, "currency": snapshot.store.about.get("currency", ""), "level": level,
        "method": "Wilson; masked causes, profile likelihood",
    }
    stated = tuple(contrasted(seen, made, asked, declared, window, level))
    notes = _notes(snapshot, asked, seen, made, values, prices, table)
    return StepRisk(table, settings, notes, stated, unlaid=_unlaid(snapshot, every, table, declared))


def step_map(
    snapshot: Snapshot,
    procedure: str | None = None,
    *,
    where: Where | None = None,
    months: Months | None = None,
    window: int = 30,
    min_overlap: float = MIN_OVERLAP,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> StepMap:
    """Put the risk of a procedure's steps on the procedure, in its order.

    By default the procedure, of those in the table `procedures`, that most repaired jobs have. The numbers are those of
    `step_risk` over all procedures, as a step that several have is told from its companions there; `where` with that
    procedure keeps the others out. Columns: place, step, phase, hold_point, irreversible, then those of `step_risk`. A
    step that is never done has a row without numbers, and so has one that touches no subsystem, as no come-back can be
    attributed to it. Without the table there are no rows.

    >>> r = depot.steps.map("main board").table.sort("attributed", descending=True, nulls_last=True)
    >>> r.select("place", "step", "attributed").row(0)
    (5, 'release display cable', 34.672491)

    On the plan of a main board, most come-backs are attributed to the release of the display cable.
    """
    import polars as pl

    every = declared_steps(snapshot.store)
    if procedure is None:
        procedure = _usual(snapshot, [s.procedure for s in every])
    declared = [s for s in every if s.procedure == procedure]
    if procedure is not None and not declared:
        there = there_is(procedure, dict.fromkeys(s.procedure for s in every))
        raise RequestError(f"step_map: there is no procedure {procedure!r} in the table “procedures”. {there}")
    risk = step_risk(
        snapshot, where=where, months=months, window=window, min_overlap=min_overlap,
        index_disposition=index_disposition, level=level, sort="step",
    )
    places = pl.DataFrame(
        {
            "place": [s.place for s in declared],
            "step": [s.step for s in declared],
            "phase": [s.phase for s in declared],
            "hold_point": [s.hold_point for s in declared],
            "irreversible": [s.irreversible for s in declared],
        },
        schema={"place": pl.Int64, "step": pl.String, "phase": pl.String, "hold_point": pl.Boolean,
                "irreversible": pl.Boolean},
    )
    table = places.join(risk.table, on="step", how="left", maintain_order="left")
    described = [(in_words(s.hazards), cautions(s.hazards), next_check(s.phase, s.hazards)) for s in declared]
    table = table.with_columns(
        pl.Series(name, [d[i] for d in described], dtype=pl.String)
        for i, name in enumerate(("hazards", "caution", "next_check"))
    )
    return StepMap(table, {"procedure": procedure, **risk.settings}, risk.notes, unlaid=risk.unlaid)


def _usual(snapshot: Snapshot, declared: Sequence[str]) -> str | None:
    """Of the procedures described, that of most jobs; None where none is described."""
    closed = comebacks(snapshot, by=("procedure",)).table.select("procedure", "jobs")
    jobs = dict.fromkeys(declared, 0) | {name: n for name, n in closed.iter_rows() if name in declared}
    return max(jobs, key=lambda name: jobs[name], default=None)


def _kept_steps(where: Where | None) -> tuple[str, ...] | None:
    """The steps whose rows are kept; None: all."""
    return filters_of(QUESTION, where).get("step")


def _but_step(where: Where | None) -> Where:
    return {n: v for n, v in filters_of(QUESTION, where).items() if n != "step"}


def _table(
    snapshot: Snapshot,
    asked: Scope,
    seen: Records,
    made: Sequence[Attributed],
    declared: Sequence[DeclaredStep],
    prices: Prices,
    level: float,
) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import proportion_interval

    laid = _laid(asked, seen, made, prices)
    first = first_pass_yield(
        snapshot, by=(*asked.by, "step"), where=asked.where, months=asked.months, level=level
    ).table
    known = {s.step: s for s in declared}
    rows = [row for row in first.iter_rows(named=True) if row["step"] in known]
    keys: list[Key] = [(tuple(row[name] for name in asked.by), row["step"]) for row in rows]
    extra = [key for key in laid if key not in set(keys)]
    keys += extra
    counted = {
        name: np.array([row[name] for row in rows] + [0] * len(extra), dtype=np.int64)
        for name in ("exposures", "failed")
    }
    fails = proportion_interval(successes=counted["failed"], trials=counted["exposures"], level=level)
    found = [_summary(laid.get(key)) for key in keys]
    hazards: dict[str, tuple[str, ...]] = {}
    for s in declared:
        hazards[s.step] = tuple(dict.fromkeys((*hazards.get(s.step, ()), *s.hazards)))
    groups = pl.DataFrame({name: [k[0][i] for k in keys] for i, name in enumerate(asked.by)})
    numbers = ("attributed", "per_10000", "low", "high")
    money = ("cost", "cost_per_1000", "cost_low", "cost_high")
    return pl.DataFrame([
        *(groups[name].cast(first.schema[name]) for name in asked.by),
        pl.Series("step", [k[1] for k in keys], dtype=pl.String),
        pl.Series("checked", counted["exposures"], dtype=pl.Int64),
        pl.Series("failed", counted["failed"], dtype=pl.Int64),
        *(
            rounded(JOBS * v for v in values_of.tolist()).alias(name)
            for name, values_of in (
                ("fails_per_1000", fails.estimate), ("fails_low", fails.low), ("fails_high", fails.high),
            )
        ),
        pl.Series("exposures", [f["exposures"] for f in found], dtype=pl.Int64),
        *(rounded(f[name] for f in found).alias(name) for name in numbers),
        pl.Series("shared_with", [f["shared_with"] for f in found], dtype=pl.String),
        rounded(f["escaping"] for f in found).alias("escaping"),
        *(rounded(f[name] for f in found).round(2).alias(name) for name in money),
        pl.Series("hazards", [in_words(hazards[k[1]]) for k in keys], dtype=pl.String),
        pl.Series("caution", [cautions(hazards[k[1]]) for k in keys], dtype=pl.String),
        pl.Series("next_check", [next_check(known[k[1]].phase, known[k[1]].hazards) for k in keys], dtype=pl.String),
    ])


def _unlaid(
    snapshot: Snapshot, asked: Scope, table: "pl.DataFrame", declared: Sequence[DeclaredStep]
) -> dict[tuple[Any, ...], str]:
    """Of the steps without exposures those that were done, by groups and step, and why they have none."""
    import polars as pl

    names = (*asked.by, "step")
    none = set(table.filter(pl.col("exposures") == 0).select(names).rows())
    if not none:
        return {}
    logged = counts(
        snapshot.store, "step_exposure", by=names, where=asked.where, months=asked.months,
        values={"as_of": snapshot.day, **ATTEMPTS},
    )
    done = logged.filter(pl.col("done") + pl.col("reworked") > 0).select(names).rows()
    kept = asked.where.get("procedure")
    touching = {(s.procedure, s.step) for s in declared if s.subsystems and (kept is None or s.procedure in kept)}
    steps, place = {step for _, step in touching}, asked.by.index("procedure") if "procedure" in asked.by else None
    return {
        key: DONE if (key[-1] in steps if place is None else (key[place], key[-1]) in touching) else UNTOUCHED
        for key in done
        if key in none
    }


def _laid(
    asked: Scope,
    seen: Records,
    made: Sequence[Attributed],
    prices: Prices,
) -> dict[Key, StepAttribution]:
    """What the fits say of each step: steps that share all their others are one, and each has the numbers of all."""
    found: dict[Key, StepAttribution] = {}
    for one in made:
        group = seen.groups.row(one.group) if asked.by else ()
        place = tuple(group[asked.by.index(name)] for name in prices.by)
        price = prices.mean.get((place, one.subsystem))
        for k, causes in enumerate(one.fit.groups):
            for step in dict.fromkeys(name[0] for name in causes):
                to = found.setdefault((group, step), StepAttribution())
                to.parts[one.subsystem, k] = Part(
                    exposures=float(one.fit.exposures[k]), number=float(one.fit.attributed[k]),
                    rate=float(one.fit.rate[k]), low=float(one.fit.low[k]), high=float(one.fit.high[k]),
                    tested=float(np.nan_to_num(one.fit.tested[k])), escaped=float(np.nan_to_num(one.fit.escaped[k])),
                    price=price,
                )
                to.others |= dict.fromkeys(name[0] for name in causes if name[0] != step)
    # A step may touch more than those it is done with: what is attributed to it there is attributed to all of them
    # together.
    shared: dict[tuple[Any, frozenset[str]], dict[tuple[str, int], Part]] = {}
    for (group, step), laid in found.items():
        shared.setdefault((group, frozenset((step, *laid.others))), {}).update(laid.parts)
    for (group, step), laid in found.items():
        laid.parts = shared[group, frozenset((step, *laid.others))]
    return found


def _summary(laid: StepAttribution | None) -> dict[str, Any]:
    """One step's columns."""
    nan = float("nan")
    if laid is None:
        row = dict.fromkeys(("attributed", "per_10000", "low", "high", "escaping", "cost", "cost_per_1000"), nan)
        return {**row, "cost_low": nan, "cost_high": nan, "exposures": 0, "shared_with": ""}
    parts = list(laid.parts.values())
    lows, highs = [p.low for p in parts], [p.high for p in parts]
    rate, low, high = summed([p.rate for p in parts], lows, highs)
    if np.isnan(rate):
        low, high = float(np.sum(lows)), float(np.sum(highs))
    high = min(high, 1.0) if not np.isnan(high) else high
    costs = [(float(np.nan_to_num(p.number)), p.price) for p in parts if p.price is not None]
    price = None if any(p.price is None and p.number > 0 for p in parts) else weighted(costs)
    tested = sum(p.tested for p in parts)
    due = [nan, nan, nan]
    if price is not None and not np.isnan(rate):
        cost = avoided_cost(
            avoided=JOBS * rate, low=JOBS * low, high=JOBS * max(high, rate), mean=price.mean,
            mean_low=min(price.low, price.mean), mean_high=max(price.high, price.mean),
        )
        due = [nan if v is None else max(0.0, v) for v in (cost.cost, cost.low, cost.high)]
    return {
        "attributed": float(np.sum([p.number for p in parts])),
        "per_10000": PER * rate, "low": PER * low, "high": PER * high,
        "escaping": sum(p.escaped for p in parts) / tested if tested > NONE else nan,
        "cost": nan if price is None else price.mean,
        "cost_per_1000": due[0], "cost_low": due[1], "cost_high": due[2],
        "exposures": round(max(p.exposures for p in parts)), "shared_with": ", ".join(laid.others),
    }


def _notes(
    snapshot: Snapshot,
    asked: Scope,
    seen: Records,
    made: Sequence[Attributed],
    values: dict[str, object],
    prices: Prices,
    table: "pl.DataFrame",
) -> tuple[str, ...]:
    notes = list(notes_on(snapshot, seen, made, asked, values))
    notes.append(
        "Failures are of all first checks; come-backs of matured jobs alone. " + cautions(()).capitalize() + "."
    )
    notes += prices.notes
    if table.height and table["cost"].null_count() == table.height:
        notes.append("No come-back of these has a known cost: cost is left out.")
    else:
        beyond = [words for words, names in NOT_PRICED_BY.items() if asked.named & names]
        if beyond:
            notes.append(f"The mean cost is that of come-backs of all {' and '.join(beyond)}.")
    return tuple(notes)
