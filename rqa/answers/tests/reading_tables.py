"""Measured values as tables: figures, histograms, counts inside each limit, and what piles up there as findings."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.charts.capability import capability
from rqa.answers.core.finding import Finding
from rqa.answers.core.result import rounded, rounded_p_values, with_shares
from rqa.answers.core.scope import PERIODS, Scope, Snapshot
from rqa.answers.tests.reading_shape import GroupReadings, bands, histogram
from rqa.words import counted, figure

if TYPE_CHECKING:
    import polars as pl

QUANTILES = {"p05": 0.05, "p25": 0.25, "median": 0.5, "p75": 0.75, "p95": 0.95}
INDICES = {"cpk": "cpk", "ppk": "ppk", "low": "ppk_low", "high": "ppk_high", "refused": "no_index"}
"""Columns of `rqa.answers.charts.capability`, and what they are called here."""
LIMITS = ("unit", "lower_limit", "upper_limit")
COUNTED = ("readings", "missing", "outside", "in_band")
SIDES = ("lower", "upper")
NEAR = ("nearest", "second", "third")
KIND = "values piled up inside the {} limit"
Kinds = Mapping[str, Any]
"""Grouping columns and their types."""


def readings_frame(
    rows: Sequence[Mapping[str, object]], held: Sequence[tuple[object, ...]], groups: Kinds, level: float
) -> "pl.DataFrame":
    """One row a group and pair of limits, with the share outside."""
    import polars as pl

    names = (
        *LIMITS, "readings", "missing", "outside", "mean", "sigma", "minimum", *QUANTILES, "maximum", "gauge_sigma",
        "guard_lower", "guard_upper", "in_band",
    )
    schema = dict(groups) | {
        n: pl.String() if n == "unit" else pl.Int64() if n in COUNTED else pl.Float64() for n in names
    }
    values = [(*group, *(row[n] for n in names)) for group, row in zip(held, rows, strict=True)]
    made = pl.DataFrame(values, schema=schema, orient="row")
    made = made.with_columns(
        rounded(made[n]).alias(n)
        for n in names
        if schema[n] == pl.Float64() and n not in ("lower_limit", "upper_limit")
    )
    known = made.with_columns(pl.col("outside").fill_null(0).alias("_out"), pl.col("readings").alias("_of"))
    shares = with_shares(known, part="_out", whole="_of", share="outside_share", level=level)
    shares = shares.with_columns(
        pl.when(pl.col("outside").is_null()).then(None).otherwise(pl.col(n)).alias(n)
        for n in ("outside_share", "low", "high")
    ).rename({"low": "outside_low", "high": "outside_high"})
    order = [*groups, *LIMITS, "readings", "missing", "outside", "outside_share", "outside_low", "outside_high"]
    return shares.select(*order, *(n for n in names if n not in order)).sort([*groups, *LIMITS])


def with_indices(snapshot: Snapshot, table: "pl.DataFrame", asked: Scope, level: float) -> "pl.DataFrame":
    """The table with the indices of `rqa.answers.charts.capability`; null by month or week, which it has none for."""
    import polars as pl

    place = table.columns.index("maximum") + 1
    if set(PERIODS) & set(asked.by) or not table.height:
        kinds = {n: pl.String() if n == "no_index" else pl.Float64() for n in INDICES.values()}
        made = table.with_columns(pl.lit(None, dtype=kind).alias(n) for n, kind in kinds.items())
    else:
        months = asked.months
        found = capability(snapshot, by=asked.by, where=asked.where, months=months, level=level).table
        keys = [*asked.by, *LIMITS]
        found = found.select(*keys, *(pl.col(old).alias(new) for old, new in INDICES.items()))
        made = table.join(found, on=keys, how="left", nulls_equal=True, maintain_order="left")
    return made.select(*table.columns[:place], *INDICES.values(), *table.columns[place:])


def histogram_frame(held: Sequence[GroupReadings], groups: Kinds) -> "pl.DataFrame":
    """Bins and readings of each group and pair of limits."""
    import polars as pl

    rows = []
    for h in held:
        start, end, number = histogram(h.first, h.lower, h.upper)
        rows += [
            (*h.group, h.unit, h.lower, h.upper, round(a, 6), round(b, 6), n)
            for a, b, n in zip(start.tolist(), end.tolist(), number.tolist(), strict=True)
        ]
    schema = dict(groups) | {n: pl.String() if n == "unit" else pl.Float64() for n in (*LIMITS, "start", "end")}
    return pl.DataFrame(rows, schema=schema | {"readings": pl.Int64()}, orient="row").sort([*groups, *LIMITS, "start"])


def bands_frame(held: Sequence[GroupReadings], groups: Kinds) -> "pl.DataFrame":
    """Counts inside each limit: a row a group, unit and side, added up over the limits that were in force."""
    import polars as pl

    from rqa.stats import pile_up_test

    found: dict[tuple[object, ...], list[float]] = {}
    for h in held:
        for side, limit in zip(SIDES, (h.lower, h.upper), strict=True):
            if limit is None:
                continue
            b = bands(h.every, limit, side)
            row = found.setdefault((*h.group, h.unit, side), [limit, b.width, 0, 0, 0])
            row[:2] = [limit if row[0] == limit else float("nan"), b.width]
            for i, n in enumerate((b.nearest, b.second, b.third), start=2):
                row[i] += n
    schema = dict(groups) | {"unit": pl.String(), "side": pl.String(), "limit": pl.Float64(), "width": pl.Float64()}
    schema |= {n: pl.Int64() for n in NEAR}
    rows = [(*key, *row) for key, row in found.items()]
    made = pl.DataFrame(rows, schema=schema, orient="row").with_columns(
        pl.col("limit", "width").fill_nan(None).round(6)
    )
    test = pile_up_test(nearest=made["nearest"], second=made["second"], third=made["third"])
    return made.with_columns(
        rounded(test.expected).alias("expected"), rounded_p_values(test.p_value).alias("p_value")
    ).sort(
        [*groups, "unit", "side"]
    )


def piled(near: "pl.DataFrame", asked: Scope) -> list[Finding]:
    """A statement for each limit that any reading came near."""
    from scipy.special import ndtri

    made = []
    fixed = {name: kept[0] for name, kept in asked.where.items() if len(kept) == 1}
    for r in near.iter_rows(named=True):
        if r["p_value"] is None:
            continue
        n = np.array([r[name] for name in NEAR]) + 0.5
        ratio = float(n[0] * n[2] / n[1] ** 2)
        reach = float(np.exp(float(ndtri(0.975)) * np.sqrt((1.0 / n) @ [1.0, 4.0, 1.0])))
        place = {name: str(r[name]) for name in asked.by}
        limit = f" of {figure(r['limit'], r['unit'] or '')}" if r["limit"] is not None else ""
        expected = f"{r['expected']:.1f}" if r["expected"] is not None else "none"
        one = Finding(
            kind=KIND.format(r["side"]), scope={**fixed, **place},
            what=f"{counted(r['nearest'], 'reading lies', 'readings lie')} within "
            f"{figure(r['width'], r['unit'] or '')} of the {r['side']} limit{limit}, where a smooth fall would bring "
            f"{expected}",
            measure="readings just inside the limit, as a multiple of those due", size=ratio, low=ratio / reach,
            high=ratio * reach, worse=True, jobs=r["nearest"], p_value=r["p_value"],
            caution="a setting that stops at its limit piles values up as well as runs repeated until they pass",
            check="look at the runs of some of these jobs: how often were they run, and who wrote the value down",
        )
        made.append(one)
    return made
