"""A station's course as control charts: single values, and an average that forgets the past little by little."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.result import rounded
from rqa.answers.tests.station_contrasts import StationDifferences
from rqa.spc import ewma_chart, individuals_chart
from rqa.spc.chart import Chart

if TYPE_CHECKING:
    import polars as pl

WEIGHT, WIDTH = 0.2, 2.86
"""EWMA: a false alarm in some 370 points, like that of single values (Lucas and Saccucci 1990, table 3)."""
LEAST_POINTS = 4
"""Points below which no limits are drawn."""
CHART_COLUMNS = (
    "test", "unit", "station", "period", "readings", "mean", "value", "centre", "lower", "upper", "signal", "ewma",
    "ewma_lower", "ewma_upper", "ewma_signal",
)


def chart_rows(
    test: str,
    unit: str | None,
    station: str,
    seen: StationDifferences,
    own: tuple[Sequence[int], Sequence[float]],
    middle: float,
    periods: Sequence[date],
    baseline: tuple[date, date] | None,
    min_cases: int,
) -> list[dict[str, object]]:
    """The station's points: what it read, how far it lay from the others (`value`), and both charts of that.

    A period of fewer readings than `min_cases` has no point, since its scatter is another one.
    """
    readings, mean = own
    value = np.where(np.array(readings) >= min_cases, seen.value, np.nan)
    mask = np.array([baseline is None or baseline[0] <= p <= baseline[1] for p in periods])
    size = len(periods)
    blank = [float("nan")] * size
    rows: dict[str, Sequence[object]] = {
        "centre": blank, "lower": blank, "upper": blank, "signal": [""] * size,
        "ewma": blank, "ewma_lower": blank, "ewma_upper": blank, "ewma_signal": [""] * size,
    }
    known = np.isfinite(value) & mask
    if known.sum() >= LEAST_POINTS and (known[1:] & known[:-1]).any():
        single = individuals_chart(value, baseline=mask)
        average = ewma_chart(value, weight=WEIGHT, width=WIDTH, baseline=mask)
        rows = {
            "centre": single.centre.tolist(), "lower": single.lower.tolist(), "upper": single.upper.tolist(),
            "signal": _signals(single, size), "ewma": average.values.tolist(),
            "ewma_lower": average.lower.tolist(), "ewma_upper": average.upper.tolist(),
            "ewma_signal": _signals(average, size),
        }
    return [
        {
            "test": test, "unit": unit, "station": station, "period": p, "readings": readings[i],
            "mean": middle + mean[i], "value": float(value[i]), **{name: column[i] for name, column in rows.items()},
        }
        for i, p in enumerate(periods)
    ]


def charts_frame(points: list[dict[str, object]]) -> "pl.DataFrame":
    """The points of all stations as one table."""
    import polars as pl

    text = ("test", "unit", "station", "signal", "ewma_signal")
    schema = {
        name: pl.String() if name in text else pl.Date() if name == "period" else pl.Int64() if name == "readings"
        else pl.Float64()
        for name in CHART_COLUMNS
    }
    made = pl.DataFrame(points, schema=schema)
    numbers = [name for name, kind in schema.items() if kind == pl.Float64()]
    return made.with_columns(rounded(made[name]).alias(name) for name in numbers).sort(
        ["test", "unit", "station", "period"]
    )


def _signals(chart: Chart, size: int) -> list[str]:
    said = [""] * size
    for signal in chart.signals:
        said[signal.index] = f"{signal.side} the {'upper' if signal.side == 'above' else 'lower'} limit"
    return said
