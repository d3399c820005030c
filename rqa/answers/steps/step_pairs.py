"""Which jobs are compared with which: those where something happened at a step and those where it did not."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.scope import Scope, Snapshot
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

Ints = NDArray[np.int64]
AFTER = ("failed check", "rework", "skipped check", "tool", "bench")
OUTCOMES = AFTER[:3]
UNKNOWN = "unknown"
STRATA = ("procedure", "model")


@dataclass(frozen=True, eq=False)
class Pair:
    """Jobs with (first) and without what `after` names, by stratum: `tables` is strata x 2 x 2, back and not back."""

    after: str
    step: str
    place: str
    kind: str
    tables: Ints


def pairs(
    snapshot: Snapshot,
    asked: Scope,
    *,
    after: Sequence[str],
    values: Mapping[str, object],
    classes: Mapping[str, Sequence[str]],
) -> Iterator[Pair]:
    """Every pair asked for, in a fixed order; `classes` are those come-backs that count, by the name of their kind."""
    def asks(measure: str, by: Sequence[str]) -> "pl.DataFrame":
        return counts(snapshot.store, measure, by=by, where=asked.where, months=asked.months, values=values)

    if set(after) & {*OUTCOMES, "tool"}:
        yield from _by_step(asks("step_comebacks", ("step", *STRATA, "tool")), after, classes)
    if "bench" in after:
        found = asks("step_comebacks_bench", STRATA)
        benches, bench = _coded(found, ["at_bench"])
        totals, stratum = _totals(found, classes), _coded(found, STRATA)
        added = _added(totals, (bench, len(benches)), (stratum[1], len(stratum[0])))
        whole = next((added[i] for i, (name,) in enumerate(benches) if name == ""), 0)
        for i, (name,) in enumerate(benches):
            if name != "":
                yield from _pair("bench", "", name, added[i], whole - added[i], classes)


def _by_step(found: "pl.DataFrame", after: Sequence[str], classes: Mapping[str, Sequence[str]]) -> Iterator[Pair]:
    steps, step = _coded(found, ["step"])
    strata, stratum = _coded(found, STRATA)
    totals = _totals(found, classes)
    outcome, again = found["outcome"].to_numpy(), found["reworked"].to_numpy().astype(np.bool_)
    done, skipped = outcome != "skipped", outcome == "skipped"
    marks = {
        "failed check": (outcome == "fail", outcome == "pass"),
        "rework": (again, ~again & done),
        "skipped check": (skipped, (outcome == "pass") | (outcome == "fail")),
    }
    for name in (a for a in AFTER if a in marks and a in after):
        sides = [
            _added(np.where(mark, totals, 0), (step, len(steps)), (stratum, len(strata))) for mark in marks[name]
        ]
        there = [np.bincount(step[mark], minlength=len(steps)) > 0 for mark in marks[name]]
        for i in np.flatnonzero(there[0] & there[1]).tolist():
            yield from _pair(name, steps[i][0], "", sides[0][i], sides[1][i], classes)
    if "tool" in after:
        used = done & (found["tool"] != UNKNOWN).to_numpy()
        tools, tool = _coded(found, ["step", "tool"])
        own = _added(np.where(used, totals, 0), (tool, len(tools)), (stratum, len(strata)))
        whole = _added(np.where(used, totals, 0), (step, len(steps)), (stratum, len(strata)))
        place = {name: i for i, (name,) in enumerate(steps)}
        met = {tools[i] for i in np.unique(tool[used]).tolist()}
        several = Counter(name for name, _ in met)
        for i, (name, at) in enumerate(tools):
            if (name, at) in met and several[name] > 1:
                yield from _pair("tool", name, at, own[i], whole[place[name]] - own[i], classes)


def _coded(found: "pl.DataFrame", names: Sequence[str]) -> tuple[list[tuple[str, ...]], Ints]:
    """The different values of some columns, in order, and each row's place among them."""
    distinct = found.select(names).unique().sort(names).with_row_index("place")
    place = found.select(names).join(distinct, on=names, how="left", maintain_order="left", nulls_equal=True)["place"]
    return distinct.select(names).rows(), place.to_numpy().astype(np.int64)


def _totals(found: "pl.DataFrame", classes: Mapping[str, Sequence[str]]) -> Ints:
    """Jobs of each row, then those back with a come-back of each kind: kinds and one more x rows."""
    back = found["returned"].to_numpy()
    counted = [np.where(found["class"].is_in(list(names)).fill_null(False).to_numpy(), back, 0)
               for names in classes.values()]
    return np.stack([found["jobs"].to_numpy(), *counted]).astype(np.int64)


def _added(totals: Ints, groups: tuple[Ints, int], strata: tuple[Ints, int]) -> Ints:
    """Totals added up by group and stratum: groups x strata x (jobs, then come-backs of each kind)."""
    (group, size), (stratum, width) = groups, strata
    made = np.zeros((size * width, len(totals)), dtype=np.int64)
    np.add.at(made, group * width + stratum, totals.T)
    return made.reshape(size, width, len(totals))


def _pair(
    after: str, step: str, place: str, own: Ints, others: Ints, classes: Mapping[str, Sequence[str]]
) -> Iterator[Pair]:
    for n, kind in enumerate(classes, start=1):
        sides = [np.stack([side[:, n], side[:, 0] - side[:, n]], axis=-1) for side in (own, others)]
        yield Pair(after, step, place, kind, np.stack(sides, axis=1))
