"""Failure clusters: jobs that failed alike, by the marks they share, and where each kind is met too often."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.grounds import Sentence, grounds
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, check_level, whole_number
from rqa.answers.core.told_sites import marks_written
from rqa.answers.steps.cluster_places import DIMENSIONS, place_findings, placed
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, percent, plural, spoken

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import FailureSignatures

QUESTION = "clusters"
MARK, VALUE = "\x1f", "\x1e"
SMALLEST = 20
"""Jobs below which a cluster is not told: too little to say."""
TELLING = 3
"""Marks named of each cluster."""
LIFT = 2.0
"""A telling mark is at least so many times as common inside as elsewhere, and on at least a third of the jobs."""
OFTEN = 1 / 3
FIRM, SHAKY = 0.75, 0.6
KINDS = {"step": "failed step", "fault": "fault", "test": "failed test", "found": "found on return:"}


@dataclass(frozen=True, eq=False, repr=False)
class Clusters(Answer):
    """Failures that share their marks: cluster, jobs, share, marks, stability, firmness, returned, rate, low, high,
    too_often.

    `marks` holds every mark of each cluster: cluster, kind, mark, inside, elsewhere, telling; `places` what was
    compared: cluster, dimension, part_no, group, jobs, of_cluster, expected, ratio, low, high, p_value, p_adjusted.
    """

    marks: "pl.DataFrame | None" = None
    places: "pl.DataFrame | None" = None

    question = "Failures alike"
    in_table_only = ("stability",)
    needs = ("logs",)
    nothing_found = "No groups of jobs that failed alike were made."
    of_comebacks = ("rate", "low", "high", "too_often")
    lists = "It groups patterns of failures, and several jobs may have one."


@dataclass(frozen=True, eq=False)
class Patterns:
    """Distinct sets of marks, the most frequent first, with their jobs and come-backs; the marks they are made of."""

    pattern: list[str]
    jobs: NDArray[np.int64]
    returned: NDArray[np.int64]
    marks: list[str]
    has: NDArray[np.bool_]


def clusters(
    snapshot: Snapshot,
    window: int = 30,
    *,
    max_groups: int = 80,
    patterns: int = 1500,
    smallest: int = SMALLEST,
    resamples: int = 12,
    seed: int = 0,
    level: float = 0.95,
) -> Clusters:
    """Group the matured jobs with a failure or a come-back by what went wrong with them.

    A job's marks: failed steps and their fault codes, tests failed in the first run, the subsystem found at its return
    within `window` days. Jobs are grouped by average linkage on the Jaccard distance of their marks, into as many
    groups, up to `max_groups`, as the silhouette speaks for. At most `patterns` distinct sets of marks are linked:
    beyond, the rare ones are left out, all of the same frequency together. Groups of fewer than `smallest` jobs are not
    told.

    Columns: cluster (1 the largest), jobs, share (of the jobs grouped), marks (the most telling ones: their share
    inside, and elsewhere), stability (the share of it that comes back when cases are drawn anew) and firmness ("firm"
    from 0.75, "shaky" below 0.6), returned, rate of come-backs with its Wilson interval low, high; too_often (where it
    is met more often than the mix brings, by more than chance). `.marks` holds every mark of each cluster: cluster,
    kind, mark, inside, elsewhere, telling. `.places` holds what was compared: cluster, dimension, part_no, group, jobs
    (failing jobs there), of_cluster, expected, ratio, low, high, p_value, p_adjusted.

    Where: site, bench, technician, lot against all other failing jobs of the same model and procedure; model against
    those of the same procedure; by exact test. Procedure is not tested: which steps can fail is the procedure's own.
    Sites that do not log steps, or tests, or what was found on return, are compared among their like alone.

    >>> depot.steps.clusters().table.select("jobs", "returned", "firmness").row(0)
    (115, 1, 'firm')

    The largest group of jobs that failed alike has 115 jobs, and one come-back.
    """
    check_level(QUESTION, level)
    window = days_asked(QUESTION, "window", window)
    given = {"max_groups": (max_groups, 2), "patterns": (patterns, 2), "smallest": (smallest, 1),
             "resamples": (resamples, 0), "seed": (seed, 0)}
    for name, (value, smallest_value) in given.items():
        whole_number(QUESTION, name, value, smallest_value)
    if patterns > _largest():
        raise RequestError(f"{QUESTION}: patterns is at most {_largest():,}: {patterns:,}.")
    written = marks_written(snapshot)
    unwritten = [site for site, lacks in written.items() if "found" in lacks]
    values = {"window": window, "as_of": snapshot.day, "unwritten": unwritten}
    found = counts(snapshot.store, "signatures", values=values)
    kept, left_out = _kept(found, patterns)
    settings = {
        "as_of": snapshot.day, "window": window, "max_groups": max_groups, "patterns": patterns, "smallest": smallest,
        "resamples": resamples, "seed": seed, "level": level, "method": "average linkage, Jaccard",
    }
    if not kept.height:
        return Clusters(
            _table([], level),
            settings,
            (*snapshot.notes, _nothing(snapshot, window)),
            marks=_marks_table([]),
            places=placed(snapshot, values, [], np.empty(0, dtype=np.int64), [], level),
        )
    taken = _taken(kept)
    grouped = _grouped(taken, max_groups, resamples, seed)
    told = [g for g in range(grouped.groups) if grouped.weight[g] >= smallest] if grouped.groups > 1 else []
    values |= {"sites": list(written), "written": [" ".join(lacks) for lacks in written.values()]}
    places = placed(snapshot, values, taken.pattern, grouped.group, told, level)
    rows = [_row(g, taken, grouped, places) for g in told]
    names = {g + 1: mark_name(taken.marks[_telling(grouped, g)[0]]) for g in told}
    return Clusters(
        _table(rows, level),
        settings,
        (*_notes(snapshot, found, left_out, grouped, told, smallest), *_untold(snapshot, taken)),
        tuple(place_findings(places, names)),
        marks=_marks(taken, grouped, told),
        places=places,
    )


def _largest() -> int:
    from rqa.stats.signatures import LARGEST

    return LARGEST


def _nothing(snapshot: Snapshot, window: int) -> Sentence:
    """What to say where no job has a mark."""
    text = "No job that has matured has a failed check, a failed test or a come-back."
    there = grounds(snapshot, window=window)
    return there.claim(text, "matured_jobs", "logs", about="in what ways jobs fail")


def _untold(snapshot: Snapshot, taken: Patterns) -> tuple[Sentence, ...]:
    """That what was found at the returns cannot be told, where some of these jobs came back."""
    lack = grounds(snapshot).lack("found", about="what was found when these jobs came back")
    return (lack,) if lack is not None and taken.returned.any() else ()


def _kept(found: "pl.DataFrame", max_groups: int) -> "tuple[pl.DataFrame, int]":
    """The frequent patterns: those of more jobs than the first that is one too many; and the jobs of the others."""
    if found.height <= max_groups:
        return found, 0
    limit = int(found["jobs"][max_groups])
    kept = found.filter(found["jobs"] > limit)
    # Where the first patterns are as rare as the rest, none could be preferred; so they are taken in order of text.
    kept = kept if kept.height > 1 else found.head(max_groups)
    return kept, int(found["jobs"].sum()) - int(kept["jobs"].sum())


def _taken(kept: "pl.DataFrame") -> Patterns:
    names = kept["pattern"].to_list()
    sets = [p.split(MARK) for p in names]
    marks = sorted({m for s in sets for m in s})
    place = {m: i for i, m in enumerate(marks)}
    has = np.zeros((len(sets), len(marks)), dtype=np.bool_)
    for i, s in enumerate(sets):
        has[i, [place[m] for m in s]] = True
    return Patterns(names, kept["jobs"].to_numpy(), kept["returned"].to_numpy(), marks, has)


def _grouped(taken: Patterns, max_groups: int, resamples: int, seed: int) -> "FailureSignatures":
    from rqa.stats import failure_signatures

    return failure_signatures(taken.has, taken.jobs, max_groups=max_groups, resamples=resamples, seed=seed)


def _telling(grouped: "FailureSignatures", g: int) -> list[int]:
    """Marks that are far more common inside than elsewhere, the widest gap first."""
    inside, elsewhere = grouped.share_with_mark[g], np.nan_to_num(grouped.share_elsewhere[g])
    order = np.argsort(elsewhere - inside, kind="stable")
    named = [int(m) for m in order if inside[m] >= OFTEN and inside[m] > LIFT * elsewhere[m]]
    return (named or [int(order[0])])[:TELLING]


def mark_name(mark: str) -> str:
    """A mark as said: "failed step reseat display cable"."""
    kind, value = mark.split(VALUE, 1)
    if (kind, value) == ("found", "unknown"):
        return "a come-back whose fault is not written down"
    return f"{KINDS[kind]} {spoken(value)}"


def _row(g: int, taken: Patterns, grouped: "FailureSignatures", places: "pl.DataFrame") -> dict[str, Any]:
    member = grouped.group == g
    firm = float(grouped.stability[g])
    here = places.filter(places["cluster"] == g + 1)
    often = here.filter((here["p_adjusted"] <= 0.05) & (here["ratio"] > 1)).sort("p_value", "dimension", "group")
    return {
        "cluster": g + 1,
        "jobs": int(grouped.weight[g]),
        "share": float(grouped.weight[g]) / float(grouped.weight.sum()),
        "marks": "; ".join(
            f"{mark_name(taken.marks[m])} {percent(float(grouped.share_with_mark[g, m]), decimals=0)} "
            f"({percent(float(np.nan_to_num(grouped.share_elsewhere[g, m])), decimals=0)} elsewhere)"
            for m in _telling(grouped, g)
        ),
        "stability": firm,
        "firmness": "not tried" if np.isnan(firm) else "firm" if firm >= FIRM else "shaky" if firm < SHAKY else "fair",
        "returned": int(taken.returned[member].sum()),
        "too_often": "; ".join(
            f"{dimension} {spoken(group)} {ratio:.1f} times"
            for dimension, group, ratio in often.select("dimension", "group", "ratio").iter_rows()
        ),
    }


def _table(rows: list[dict[str, Any]], level: float) -> "pl.DataFrame":
    import polars as pl

    from rqa.answers.core.result import with_shares

    schema: Mapping[str, Any] = {
        "cluster": pl.Int64, "jobs": pl.Int64, "share": pl.Float64, "marks": pl.String, "stability": pl.Float64,
        "firmness": pl.String, "returned": pl.Int64, "too_often": pl.String,
    }
    table = pl.DataFrame(rows, schema=schema)
    table = table.with_columns(rounded(table[c].to_list()).alias(c) for c in ("share", "stability"))
    table = with_shares(table, part="returned", whole="jobs", share="rate", level=level)
    return table.select(
        "cluster", "jobs", "share", "marks", "stability", "firmness", "returned", "rate", "low", "high", "too_often"
    )


def _marks(taken: Patterns, grouped: "FailureSignatures", told: list[int]) -> "pl.DataFrame":
    return _marks_table([
        (g + 1, *taken.marks[m].split(VALUE, 1), float(grouped.share_with_mark[g, m]),
         float(grouped.share_elsewhere[g, m]), m in _telling(grouped, g))
        for g in told
        for m in np.flatnonzero(grouped.share_with_mark[g] > 0)
    ])


def _marks_table(rows: list[tuple[Any, ...]]) -> "pl.DataFrame":
    import polars as pl

    schema = {"cluster": pl.Int64, "kind": pl.String, "mark": pl.String, "inside": pl.Float64, "elsewhere": pl.Float64,
              "telling": pl.Boolean}
    table = pl.DataFrame(rows, schema=schema, orient="row")
    table = table.with_columns(rounded(table[c].to_list()).alias(c) for c in ("inside", "elsewhere"))
    return table.sort("cluster", "inside", "kind", "mark", descending=[False, True, False, False])


def _notes(
    snapshot: Snapshot, found: "pl.DataFrame", left_out: int, grouped: "FailureSignatures", told: list[int],
    smallest: int,
) -> tuple[str, ...]:
    notes = list(snapshot.notes)
    jobs = int(found["jobs"].sum())
    notes.append(
        f"{counted(jobs, 'matured job has', 'matured jobs have')} a failure or a come-back, in "
        f"{counted(found.height, 'distinct set')} of marks"
        + (f"; {left_out:,} of them, with sets too rare to be linked, are left out." if left_out else ".")
    )
    if grouped.groups < 2:
        notes.append("There are no groups worth the name: their mean silhouette is not above 0.25.")
        return tuple(notes)
    small = grouped.groups - len(told)
    if small:
        inside = int(grouped.weight.sum() - grouped.weight[told].sum())
        notes.append(
            f"{counted(small, 'group')} of fewer than {counted(smallest, 'job')}, {inside:,} in all, "
            f"{plural(small, 'is', 'are')} not told."
        )
    notes += [
        "A cluster is a way of reading, no cause: it is made of marks that are met together. Clusters of what was "
        "found on return have a high share of come-backs by their making.",
        f"Where a cluster is met too often is tested ({', '.join(DIMENSIONS)}) against the failing jobs of all other "
        "clusters of the same model and procedure. The clusters were made from the marks alone, without a look at "
        "where, so these p-values are honest; they say nothing of how often jobs fail there, only how.",
    ]
    return tuple(notes)
