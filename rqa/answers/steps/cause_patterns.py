"""What jobs did and what they came back for, as arrays: the step-by-step record of the depot, a row a kind of job.

A job's record enters a likelihood of masked causes only by the steps it did that touch the subsystem in question. Jobs
that did not come back enter it by how often they did each step in all. So however many different records a messy log
holds, nothing is left out or rounded: rare ones are added up with the rest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.scope import Scope, Snapshot
from rqa.answers.steps.declared_steps import declared_steps, hazards_of, touches
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Numbers = NDArray[np.float64]
WORD = 60
"""Causes in one word of the record."""
NO_HAZARD = "none named"
NEW = "new_fault"
"""The class of come-backs for what the job had left alone."""


@dataclass(frozen=True, eq=False)
class Records:
    """Matured index jobs by group and record.

    `groups` has a row a group; `causes` are (step, variant); `bits`, records x causes, says what was met, `procedure`
    is each record's. The rows of the counts have `group`, `record`, `stratum` (work that can be compared: a place in
    `strata`), `found` (a place in `subsystems`, -1 without a come-back), `jobs`, `tested` and `escaped` (of them).
    `untouched` has of each subsystem the jobs of all groups that left it alone.
    """

    groups: "pl.DataFrame"
    causes: tuple[tuple[str, str], ...]
    subsystems: tuple[str, ...]
    strata: tuple[tuple[str, ...], ...]
    bits: Flags
    procedure: NDArray[np.object_]
    group: Ints
    record: Ints
    stratum: Ints
    found: Ints
    jobs: Ints
    tested: Ints
    escaped: Ints
    touches: Mapping[tuple[str, str], frozenset[str]]
    hazards: Mapping[str, tuple[str, ...]]
    untouched: tuple["Untouched", ...]


@dataclass(frozen=True)
class Untouched:
    """Jobs in which no step touched a subsystem, and those of them that came back as it had failed: new faults."""

    jobs: int
    faults: int


@dataclass(frozen=True, eq=False)
class Exposed:
    """Jobs by what they did to one subsystem: `done`, kinds x causes (times); per kind jobs, come-backs, and of these
    those tested for the fault and those of them that had passed all tests."""

    names: tuple[tuple[str, ...], ...]
    done: Numbers
    stratum: Ints
    jobs: Ints
    comebacks: Ints
    tested: Ints
    escaped: Ints


def records(
    snapshot: Snapshot, asked: Scope, *, values: Mapping[str, object], covariate: str, within: Sequence[str]
) -> Records:
    """Count what matured index jobs did and came back for; `within` names what comparable work has in common."""
    import polars as pl

    listed = counts(snapshot.store, "attribution_causes", values={"covariate": covariate})
    causes = tuple(zip(listed["step"].to_list(), listed["variant"].to_list(), strict=True))
    extra = [name for name in within if name not in asked.by and name != "procedure"]
    table = counts(
        snapshot.store, "attribution", by=[*asked.by, *extra], where=asked.where, months=asked.months,
        values={
            **values, "as_of": snapshot.day, "covariate": covariate,
            "steps": [s for s, _ in causes], "variants": [v for _, v in causes],
        },
    )
    declared = declared_steps(snapshot.store)
    by = list(asked.by)
    groups = table.select(by).unique().sort(by) if by else pl.DataFrame()
    group = _places(table.select(by))[0] if by else np.zeros(table.height, dtype=np.int64)
    record, kinds = _places(table.select("done_in", "done"))
    stratum, strata = _places(table.select("done_in" if name == "procedure" else name for name in within))
    subsystems = tuple(sorted({f for s in declared for f in s.subsystems}))
    place = {f: i for i, f in enumerate(subsystems)}
    found = np.array([-1 if f is None else place.get(f, -2) for f in table["found"].to_list()], dtype=np.int64)
    jobs = table["jobs"].to_numpy().astype(np.int64)
    return Records(
        groups=groups,
        causes=causes,
        subsystems=subsystems,
        strata=strata,
        bits=_bits([done for _, done in kinds], len(causes)),
        procedure=np.array([procedure for procedure, _ in kinds], dtype=np.object_),
        group=group,
        record=record,
        stratum=stratum,
        found=found,
        jobs=jobs,
        tested=jobs * table["covering"].fill_null(False).to_numpy(),
        escaped=jobs * table["passed"].fill_null(False).to_numpy(),
        touches=touches(declared),
        hazards=hazards_of(declared),
        untouched=_untouched(snapshot, asked, values, subsystems, touches(declared)),
    )


def _untouched(
    snapshot: Snapshot, asked: Scope, values: Mapping[str, object], subsystems: Sequence[str],
    touching: Mapping[tuple[str, str], frozenset[str]],
) -> tuple[Untouched, ...]:
    """Of each subsystem the jobs that left it alone, whatever their group, and their new faults of it."""
    steps = counts(snapshot.store, "attribution_causes", values={"covariate": ""})["step"].to_list()
    table = counts(
        snapshot.store, "attribution", where=asked.where, months=asked.months,
        values={
            **values, "classes": [NEW], "as_of": snapshot.day, "covariate": "", "steps": steps,
            "variants": [""] * len(steps),
        },
    )
    did = _bits(table["done"].to_list(), len(steps))
    procedure, found = np.array(table["done_in"].to_list(), dtype=np.object_), np.array(table["found"].to_list())
    jobs, made = table["jobs"].to_numpy().astype(np.int64), []
    for f in subsystems:
        alone = np.ones(len(jobs), dtype=np.bool_)
        for p in set(procedure.tolist()):
            at = [i for i, step in enumerate(steps) if step in touching.get((p, f), ())]
            alone &= ~((procedure == p) & did[:, at].any(axis=1))
        made.append(Untouched(int(jobs[alone].sum()), int(jobs[alone & (found == f)].sum())))
    return tuple(made)


def exposed(seen: Records, subsystem: int, rows: Flags, *, per: str = "step") -> Exposed:
    """Jobs of some rows by what they did to one subsystem: to which of its steps, or hazards, how often."""
    f = seen.subsystems[subsystem]
    procedures = set(seen.procedure[np.unique(seen.record[rows])].tolist())
    touching = {p: seen.touches.get((p, f), frozenset()) for p in procedures}
    touched_by_any = frozenset[str]().union(*touching.values())
    columns = [i for i, (step, _) in enumerate(seen.causes) if step in touched_by_any]
    did = seen.bits[np.ix_(seen.record[rows], np.array(columns, dtype=np.int64))]
    for p, touched in touching.items():
        out = [c for c, i in enumerate(columns) if seen.causes[i][0] not in touched]
        did[np.ix_(seen.procedure[seen.record[rows]] == p, out)] = False
    names = [seen.causes[i] for i in columns]
    first, place = _kinds(did, seen.stratum[rows])
    done, stratum = did[first].astype(np.float64), seen.stratum[rows][first]
    if per == "hazard":
        of = [seen.hazards.get(step) or (NO_HAZARD,) for step, _ in names]
        hazards = sorted({h for some in of for h in some})
        done = done @ np.array([[h in some for h in hazards] for some in of], dtype=np.float64).reshape(
            -1, len(hazards)
        )
        names = [(h, "") for h in hazards]
    back = seen.found[rows] == subsystem
    totals = {
        name: np.bincount(place, weights=counted, minlength=len(first)).astype(np.int64)
        for name, counted in (
            ("jobs", seen.jobs[rows]), ("comebacks", seen.jobs[rows] * back),
            ("tested", seen.tested[rows] * back), ("escaped", seen.escaped[rows] * back),
        )
    }
    met: Flags = np.asarray((done > 0).any(axis=0))
    return Exposed(
        names=tuple(n for n, some in zip(names, met.tolist(), strict=True) if some),
        done=done[:, met],
        stratum=stratum,
        **totals,
    )


def _places(columns: "pl.DataFrame") -> tuple[Ints, tuple[tuple[str, ...], ...]]:
    """Each row's place among the distinct rows, and these."""
    import polars as pl

    distinct = columns.unique().sort(columns.columns)
    numbered = distinct.with_row_index("place")
    place = columns.join(numbered, on=columns.columns, how="left", maintain_order="left", nulls_equal=True)["place"]
    return place.cast(pl.Int64).to_numpy(), tuple(distinct.rows())


def _kinds(did: Flags, stratum: Ints) -> tuple[Ints, Ints]:
    """A row of each kind of what was done in each stratum, in order, and each row's place among them."""
    columns = did.shape[1]
    strata = int(stratum.max(initial=0)).bit_length()
    if columns + strata <= WORD:
        packed = (did @ (1 << np.arange(strata + columns - 1, strata - 1, -1, dtype=np.int64))) + stratum
        _, first, place = np.unique(packed, return_index=True, return_inverse=True)
    else:
        rows = np.column_stack([did, stratum])
        _, first, place = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    return first.astype(np.int64), np.asarray(place).reshape(-1)


def _bits(written: Sequence[str], causes: int) -> Flags:
    """The records' texts as flags, records x causes."""
    flags = np.zeros((len(written), causes), dtype=np.bool_)
    words = -(-causes // WORD)
    bits = np.zeros((len(written), words), dtype=np.int64)
    for row, text in enumerate(written):
        for word in text.split(" "):
            n, value = word.split(":")
            bits[row, int(n)] = int(value)
    for cause in range(causes):
        flags[:, cause] = (bits[:, cause // WORD] >> (cause % WORD)) & 1
    return flags
