"""Where a kind of failure is met too often: each place's failing jobs in a cluster against those of other places."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.comparable_work import against_comparable_work
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.finding import PEOPLE, Finding
from rqa.answers.core.result import rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot
from rqa.measures.run import counts
from rqa.words import count, percent

if TYPE_CHECKING:
    import polars as pl

DIMENSIONS = ("site", "bench", "technician", "model", "lot")
CAUTION = (
    "of the failing jobs only: it says how jobs fail there, not how often; clusters are a way of reading, no cause"
)
CHECKS = {"lot": "look at what is left of the lot", "technician": "watch the work together; read five job sheets"}
CHECK = "read five of the job sheets; see what is special there"


def placed(
    snapshot: Snapshot, values: Mapping[str, Any], patterns: list[str], group: NDArray[np.int64], told: list[int],
    level: float,
) -> "pl.DataFrame":
    """Every place with enough failing jobs against every told cluster, p-values adjusted over all."""
    import polars as pl

    from rqa.stats import benjamini_hochberg, standardised_ratio

    rows: list[tuple[Any, ...]] = []
    if told:
        mapped = {"patterns": patterns, "clusters": [int(g) + 1 for g in group]}
        found = counts(snapshot.store, "signatures_placed", values={**values, **mapped})
        for dimension in DIMENSIONS:
            rows += _compared(found, dimension, told)
    keys = ("cluster", "dimension", "part_no", "group", "jobs", "of_cluster")
    schema: Any = {"cluster": pl.Int64, "dimension": pl.String, "part_no": pl.String, "group": pl.String,
                   "jobs": pl.Int64, "of_cluster": pl.Int64, "expected": pl.Float64, "p_value": pl.Float64}
    table = pl.DataFrame(rows, schema=schema, orient="row")
    p = table["p_value"].to_numpy()
    adjusted = benjamini_hochberg(p_values=p).p_adjusted if table.height else p
    ratio = standardised_ratio(
        observed=table["of_cluster"].to_numpy(), expected=table["expected"].to_numpy(), level=level
    )
    return table.select(
        *keys,
        rounded(table["expected"].to_list()).alias("expected"),
        *(rounded(v).alias(n) for n, v in (("ratio", ratio.estimate), ("low", ratio.low), ("high", ratio.high))),
        rounded_p_values(p).alias("p_value"),
        rounded_p_values(adjusted).alias("p_adjusted"),
    ).sort("cluster", "dimension", "part_no", "group")


def _compared(found: "pl.DataFrame", dimension: str, told: list[int]) -> Iterator[tuple[Any, ...]]:
    """Cluster, dimension, part, name, failing jobs, those of the cluster, expected, p-value over kinds of work."""
    import polars as pl

    kind = ["procedure", "written"] if dimension == "model" else ["model", "procedure", "written"]
    # Every job has one model, so the models add up to all failing jobs of the kind.
    all_jobs = _matrix(found.filter(pl.col("dimension") == "model"), kind, [])
    clusters, kinds, whole = all_jobs[1], all_jobs[2], all_jobs[3][0]
    names, own_clusters, own_kinds, counted = _matrix(
        found.filter(pl.col("dimension") == dimension), kind, ["part_no", "name"]
    )
    at = np.ix_([clusters.index(c) for c in own_clusters], [kinds.index(k) for k in own_kinds])
    jobs = np.zeros((len(names), *whole.shape), dtype=np.int64)
    for i in range(len(names)):
        jobs[i][at] = counted[i]
    there = jobs.sum(axis=1)
    for g in told:
        c = clusters.index(g + 1)
        beside = against_comparable_work(
            events=jobs[:, c], cases=there, all_events=whole[c], all_cases=whole.sum(axis=0)
        )
        for place in np.flatnonzero((beside.comparable >= SMALLEST) & (beside.expected > 0)):
            i = int(place)
            part, name = names[i]
            yield (
                g + 1, dimension, part or None, name, int(beside.comparable[i]), int(beside.observed[i]),
                float(beside.expected[i]), float(beside.p_value[i]),
            )


Matrix = tuple[list[tuple[str, str]], list[int], list[tuple[str, ...]], NDArray[np.int64]]


def _matrix(table: "pl.DataFrame", kind: Sequence[str], names: Sequence[str]) -> Matrix:
    """Names, clusters and kinds of work, and the jobs of each."""
    keys = list(table.select(names).iter_rows()) if names else [("", "")] * table.height
    kinds = list(table.select(kind).iter_rows())
    name_list, cluster_list, kind_list = sorted(set(keys)), sorted(set(table["cluster"].to_list())), sorted(set(kinds))
    made = np.zeros((len(name_list), len(cluster_list), len(kind_list)), dtype=np.int64)
    place = {k: i for i, k in enumerate(name_list)}, {k: i for i, k in enumerate(cluster_list)}
    of_kind = {k: i for i, k in enumerate(kind_list)}
    rows = zip(keys, table["cluster"].to_list(), kinds, table["jobs"].to_list(), strict=True)
    for key, cluster, k, jobs in rows:
        made[place[0][key], place[1][cluster], of_kind[k]] += jobs
    return name_list, cluster_list, kind_list, made


def place_findings(places: "pl.DataFrame", names: Mapping[int, str]) -> Iterator[Finding]:
    """Each comparison as a statement; `names` are the clusters' most telling marks, so that they keep their ids."""
    for r in places.iter_rows(named=True):
        name = names[r["cluster"]]
        scope = {r["dimension"]: r["group"]} | ({"part_no": r["part_no"]} if r["part_no"] else {})
        yield Finding(
            kind=f"failures alike: {name}",
            scope=scope,
            what=(
                f"{percent(r['of_cluster'] / r['jobs'])} of the failing jobs ({count(r['of_cluster'])} of "
                f"{count(r['jobs'])}) are of the kind “{name}”, where {r['expected']:.1f} jobs would be usual for "
                "the work"
            ),
            measure="observed over expected",
            size=r["ratio"],
            low=r["low"],
            high=r["high"],
            worse=r["ratio"] > 1,
            mirrored=True,
            jobs=r["jobs"],
            p_value=r["p_value"],
            caution=CAUTION + (PEOPLE if r["dimension"] == "technician" else ""),
            check=CHECKS.get(r["dimension"], CHECK),
        )
