"""What is compared: the counts of each group by kind of work, and what its mix of work brings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.compare.expected_by_model import expected_by_model, fits
from rqa.answers.compare.within_people import ALLOWED_FOR, by_place_and_person, people_told, within_people
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Months, Snapshot, Where
from rqa.answers.yields.clean import clean_jobs
from rqa.answers.yields.first_pass import first_pass_yield

if TYPE_CHECKING:
    import polars as pl

UNKNOWN = "unknown"
WITHOUT_IS_ANOTHER_WORK = ("tool",)
"""Work that names none of these is work without any, and no comparison for the others."""
THIN_OTHERS, THIN_SHARE = 10, 0.1
"""Others' work in a kind below which it is thin; share of the work in thin kinds from which on a model is used."""
SMALLEST_P, LARGEST_Z = 1e-30, 11.4
"""Chances below, and scores beyond, are not told apart: the exact distribution is added up no further."""


@dataclass(frozen=True)
class Outcome:
    """One outcome that can be compared: whom it is known of, and what else than the mix makes kinds of work unlike."""

    who: tuple[str, ...]
    kind: tuple[str, ...]
    events: str
    work: str


OUTCOMES: Mapping[str, Outcome] = {
    "first_pass": Outcome(
        ("technician", "bench", "tool", "site"), ("step",), "first checks that failed", "first checks"
    ),
    "first_run": Outcome(
        ("technician", "station", "site"), ("test",), "first runs of diagnostics that failed", "first runs"
    ),
    "comeback": Outcome(("technician", "bench", "tool", "station", "site"), (), "units that came back", "matured jobs"),
    "clean_job": Outcome(("technician", "site"), (), "jobs that were not clean", "checked jobs"),
}


@dataclass(frozen=True, eq=False)
class GroupCounts:
    """Events and work of each group in each kind of work; the group "unknown" comes last, if it is there."""

    names: tuple[str, ...]
    kinds: tuple[tuple[str, ...], ...]
    events: NDArray[np.int64]
    trials: NDArray[np.int64]
    notes: tuple[str, ...]

    @property
    def known(self) -> int:
        """How many groups have a name."""
        return len(self.names) - (UNKNOWN in self.names)


@dataclass(frozen=True, eq=False)
class Expected:
    """Observed against expected, by group, and how the expectation was come by."""

    method: str
    asked: bool
    exposures: NDArray[np.int64]
    observed: NDArray[np.int64]
    no_comparator: NDArray[np.int64]
    expected: NDArray[np.float64]
    variance: NDArray[np.float64]
    p_value: NDArray[np.float64]
    z: NDArray[np.float64]
    sparse_share: float
    apart: int
    share: NDArray[np.float64]
    """Of each kind of work."""


def counts_of(
    snapshot: Snapshot, who: str, outcome: str, kind: tuple[str, ...], where: Where | None, months: Months | None,
    window: int,
) -> Answer:
    """The counts behind an outcome, by group and kind of work."""
    by = (who, *kind)
    if outcome == "comeback":
        return comebacks(snapshot, window=window, by=by, where=where, months=months)
    if outcome == "clean_job":
        return clean_jobs(snapshot, by=by, where=where, months=months)
    return first_pass_yield(snapshot, by=by, where=where, months=months)


def columns_of(outcome: str) -> "tuple[pl.Expr, pl.Expr]":
    """The events and the work ("trials") of an outcome, out of the columns of its counts."""
    import polars as pl

    events, trials = pl.col("failed"), pl.col("exposures")
    if outcome == "comeback":
        events, trials = pl.col("returned"), pl.col("matured")
    if outcome == "clean_job":
        events, trials = pl.col("jobs") - pl.col("clean"), pl.col("jobs")
    return events.alias("events"), trials.alias("trials")


def matrix(
    table: "pl.DataFrame", who: str, kind: Sequence[str], events: Any, trials: Any, notes: tuple[str, ...]
) -> GroupCounts:
    """Events and work as matrices, a row a group and a column a kind of work."""
    import polars as pl

    cells = table.select(who, *kind, events.alias("events"), trials.alias("trials")).filter(pl.col("trials") > 0)
    if who in WITHOUT_IS_ANOTHER_WORK:
        cells = cells.filter(pl.col(who) != UNKNOWN)
    names = sorted(set(cells[who].to_list()), key=lambda name: (name == UNKNOWN, name))
    keys = list(cells.select(kind).iter_rows()) if kind else [()] * cells.height
    kinds = sorted(set(keys))
    row, column = {name: i for i, name in enumerate(names)}, {key: i for i, key in enumerate(kinds)}
    at = [row[name] for name in cells[who].to_list()], [column[key] for key in keys]
    counted = []
    for part in ("events", "trials"):
        matrix = np.zeros((len(names), len(kinds)), dtype=np.int64)
        matrix[at] = cells[part].to_numpy()
        counted.append(matrix)
    return GroupCounts(tuple(names), tuple(kinds), counted[0], counted[1], notes)


def expected_of(counted: GroupCounts, method: str) -> Expected:
    """What the mix of each group's work brings, by kinds of work as they are or by a model of them."""
    from rqa.stats import expectation_test, expected_from_mix, stratified_exact_test

    x, n, known = counted.events, counted.trials, counted.known
    others = n.sum(axis=0) - n
    work = int(n.sum())
    shown = n[:known]
    thin = float(shown[others[:known] < THIN_OTHERS].sum()) / max(int(shown.sum()), 1)
    asked = method != "auto"
    if method == "auto":
        several = (n.sum(axis=1) > 0).sum() > 1
        method = "model" if thin > THIN_SHARE and several and fits(counted.kinds) else "stratified"
    if method == "model":
        made = expected_by_model(events=x, trials=n, kinds=counted.kinds)
        observed, exposures = x.sum(axis=1), n.sum(axis=1)
        # With nobody else there the model is only the group's own work.
        nobody = (exposures == work) | made.no_comparator
        expected = np.where(nobody, 0.0, made.expected)
        t = expectation_test(observed=observed, expected=expected, variance=np.where(expected > 0, made.variance, 0.0))
        alone = np.where(nobody, exposures, 0)
        p, z = _told(np.where(exposures > 0, t.p_value, np.nan), t.z, exposures - alone, x, n)
        return Expected(
            "model", asked, (exposures - alone)[:known], np.where(alone > 0, 0, observed)[:known], alone[:known],
            expected[:known], made.variance[:known], p[:known], z[:known], thin, made.apart, made.share,
        )
    mix = expected_from_mix(events=x, trials=n)
    s = stratified_exact_test(events=x, trials=n)
    p, z = _told(s.p_value, s.z, mix.comparable, x, n)
    return Expected(
        "stratified", asked, mix.comparable[:known], mix.observed[:known], mix.no_comparator[:known],
        mix.expected[:known], mix.variance[:known], p[:known], z[:known], thin, 0,
        x.sum(axis=0) / np.maximum(n.sum(axis=0), 1),
    )


def set_within_people(
    found: Expected, counted: GroupCounts, rows: Sequence[tuple[Any, ...]]
) -> tuple[Expected, NDArray[np.object_]]:
    """The places against the same people's work elsewhere, where the two can be told apart; and whether they can.

    `rows` are place, technician, kind of work, events and work. A place whose people hardly work elsewhere keeps its
    plain comparison, and so does one where too little of the work names who did it: nobody in particular is no person.
    """
    x, n, people = by_place_and_person(rows, counted.names, counted.kinds)
    if len(set(people) - {UNKNOWN}) < 2:
        return found, np.full(counted.known, "", dtype=object)
    named = [i for i, name in enumerate(people) if name != UNKNOWN]
    work = n.sum(axis=1)
    x, n = x[:, named], n[:, named]
    of_nobody = work - n.sum(axis=1)
    within = within_people(events=x, trials=n, share=found.share)
    of_people = people_told(within, n, of_nobody, found.share)[: counted.known]
    told = of_people == ALLOWED_FOR
    p, z = _told(within.p_value, within.z, within.exposures, x.sum(axis=1), n.sum(axis=1))

    def either(inside: NDArray[Any], plain: NDArray[Any]) -> NDArray[Any]:
        return np.where(told, inside[: counted.known], plain)

    made = replace(
        found, exposures=either(within.exposures, found.exposures), observed=either(within.observed, found.observed),
        no_comparator=either(within.no_comparator + of_nobody.sum(axis=1), found.no_comparator), z=either(z, found.z),
        expected=either(within.expected, found.expected), variance=either(within.variance, found.variance),
        p_value=either(p, found.p_value),
    )
    return made, of_people


def _told(
    p_value: NDArray[np.float64],
    z: NDArray[np.float64],
    comparable: NDArray[np.int64],
    events: NDArray[np.int64],
    trials: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Chances and scores that can be told apart.

    Work that can be compared, of kinds in which all passed or all failed whoever did it, is as expected: p = 1, z = 0.
    """
    x, n = events.sum(axis=0), trials.sum(axis=0)
    settled = (trials[:, (x > 0) & (x < n)].sum(axis=1) == 0) & (comparable > 0)
    p, z = np.where(settled, 1.0, p_value), np.where(settled, 0.0, z)
    return np.maximum(p, SMALLEST_P), np.clip(z, -LARGEST_Z, LARGEST_Z)
