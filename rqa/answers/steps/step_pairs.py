"""Which jobs are set beside which: those where something happened at a step and those where it did not."""

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
    import polars as pl

    def asks(measure: str, by: Sequence[str]) -> "pl.DataFrame":
        return counts(snapshot.store, measure, by=by, where=asked.where, months=asked.months, values=values)

    marks = {
        "failed check": (pl.col("outcome") == "fail", pl.col("outcome") == "pass"),
        "rework": (pl.col("reworked"), ~pl.col("reworked") & (pl.col("outcome") != "skipped")),
        "skipped check": (pl.col("outcome") == "skipped", pl.col("outcome").is_in(["pass", "fail"])),
    }
    if set(after) & {*marks, "tool"}:
        found = asks("step_comebacks", ("step", *STRATA, "tool"))
        for name in (a for a in AFTER if a in marks and a in after):
            with_it, without = (found.filter(condition) for condition in marks[name])
            for step in sorted(set(with_it["step"]) & set(without["step"])):
                sides = [side.filter(pl.col("step") == step) for side in (with_it, without)]
                yield from _pair(name, step, "", sides, classes)
        if "tool" in after:
            used = found.filter((pl.col("tool") != UNKNOWN) & (pl.col("outcome") != "skipped"))
            for step, tool in used.select("step", "tool").unique().sort("step", "tool").iter_rows():
                here = used.filter(pl.col("step") == step)
                sides = [here.filter(pl.col("tool") == tool), here.filter(pl.col("tool") != tool)]
                if sides[1].height:
                    yield from _pair("tool", step, tool, sides, classes)
    if "bench" in after:
        found = asks("step_comebacks_bench", STRATA)
        whole = found.filter(pl.col("at_bench") == "")
        for bench in sorted(set(found["at_bench"]) - {""}):
            own = found.filter(pl.col("at_bench") == bench)
            less = own.with_columns(-pl.col("jobs", "returned"))
            yield from _pair("bench", "", bench, [own, pl.concat([whole, less])], classes)


def _pair(
    after: str, step: str, place: str, sides: "Sequence[pl.DataFrame]", classes: Mapping[str, Sequence[str]]
) -> Iterator[Pair]:
    import polars as pl

    for kind, counted in classes.items():
        totals = [
            side.group_by(STRATA).agg(
                pl.col("jobs").sum(), pl.col("returned").filter(pl.col("class").is_in(counted)).sum()
            )
            for side in sides
        ]
        both = totals[0].join(totals[1], on=STRATA, how="full", coalesce=True, suffix="_other").sort(STRATA)
        n, x, m, y = (
            both[name].fill_null(0).to_numpy().astype(np.int64)
            for name in ("jobs", "returned", "jobs_other", "returned_other")
        )
        yield Pair(after, step, place, kind, np.stack([np.stack([x, n - x], -1), np.stack([y, m - y], -1)], axis=1))
