"""Control charts and their kin made by hand, with the columns and settings that the depot gives them."""

from datetime import date, timedelta
from typing import Any

import polars as pl

from rqa.answers.charts.capability import CapabilityIndices
from rqa.answers.charts.control_chart import ControlChart
from rqa.answers.charts.cusum import ComebackCusum
from rqa.answers.charts.detection import TimeToDetect

MONDAY = date(2025, 1, 6)
ABOVE, BELOW = "above the upper limit", "below the lower limit"
RUN = "eight in a row, below the centre"


def weeks(signals: dict[int, str] | None = None, points: int = 60) -> ControlChart:
    """A share by week; the third week is tiny, so that its limits are far out."""
    said = signals if signals is not None else {20: RUN, 21: RUN, 22: RUN, 40: ABOVE}
    size = [30] * points
    size[2] = 1
    table = pl.DataFrame({
        "period": [MONDAY + timedelta(days=7 * i) for i in range(points)], "size": size,
        "value": [0.3 if said.get(i) == ABOVE else 0.0 if i in said else 0.05 for i in range(points)],
        "centre": 0.06, "lower": 0.0, "upper": [1.0 if n == 1 else 0.2 for n in size],
        "signal": [said.get(i, "") for i in range(points)], "mature": [i < points - 4 for i in range(points)],
    })
    return ControlChart(table, {"measure": "comebacks", "by": (), "period": "week", "window": 30, "unit": "share"})


def gaps(points: int = 30) -> ControlChart:
    """Jobs between come-backs; two fell on one day."""
    days = [MONDAY + timedelta(days=9 * (i - (i > 10))) for i in range(points)]
    table = pl.DataFrame({
        "period": days, "size": [16] * points, "value": [15.0] * (points - 1) + [120.0], "centre": 15.0, "lower": 0.0,
        "upper": 105.0, "signal": [""] * (points - 1) + [ABOVE], "mature": True,
    })
    settings = {"measure": "jobs_between_comebacks", "by": (), "period": "come-back", "window": 30, "unit": "jobs"}
    return ControlChart(table, settings)


def staged(reason: str = "bad lot of cables") -> ControlChart:
    """A year and a half in three stages, with one month set aside."""
    months = [date(2025 + i // 12, i % 12 + 1, 1) for i in range(18)]
    stage = [1 if i < 6 else 2 if i < 12 else 3 for i in range(18)]
    table = pl.DataFrame({
        "period": months, "size": 100, "value": [0.1 / s for s in stage], "centre": [0.1 / s for s in stage],
        "lower": 0.0, "upper": [0.2 / s for s in stage], "signal": "", "mature": True, "stage": stage,
        "set_aside": [reason if i == 5 else "" for i in range(18)],
    })
    settings = {"measure": "comebacks", "by": (), "period": "month", "window": 30, "unit": "share",
                "stages": (("ACT-1", date(2025, 6, 12)), ("2026-01", date(2026, 1, 1)))}
    return ControlChart(table, settings)


def measured() -> ControlChart:
    """Two tests in their own units, one of them without limits."""
    months = [date(2025, m, 1) for m in range(1, 13)]
    frames = []
    for test, mean, limited in (("load", 4.0, True), ("rate", 1800.0, False)):
        frames.append(pl.DataFrame({
            "test": test, "period": months, "size": 50, "value": [mean * (1 + 0.001 * (i % 3)) for i in range(12)],
            "centre": mean if limited else None, "lower": mean * 0.99 if limited else None,
            "upper": mean * 1.01 if limited else None, "signal": "", "mature": True,
        }, schema_overrides=dict.fromkeys(("centre", "lower", "upper"), pl.Float64)))
    settings = {"measure": "test_values", "by": ("test",), "period": "month", "unit": None,
                "units": {"load": "V", "rate": "A"}}
    return ControlChart(pl.concat(frames), settings)


def watched(odds: float = 2.0, by: tuple[str, ...] = ()) -> ComebackCusum:
    """A sum that reaches its limit on the fortieth day."""
    days = [MONDAY + timedelta(days=i) for i in range(60)]
    table = pl.DataFrame({
        "period": days, "size": 5, "returned": [i % 2 for i in range(60)], "expected": 0.25,
        "value": [i / 10 for i in range(60)], "limit": 4.0,
        "signal": ["more come-backs, growing since 2025-01-06" if i == 40 else "" for i in range(60)],
    })
    if by:
        table = pl.concat([table.select(pl.lit(site).alias("site"), pl.all()) for site in ("Alder", "Birch")])
    settings = {"window": 30, "by": by, "odds": odds, "chart": "risk-adjusted CUSUM", "where": {}}
    return ComebackCusum(table, settings)


def capability() -> CapabilityIndices:
    columns: dict[str, Any] = {
        "test": ["load", "rate", "drift"], "unit": ["V", "A", None], "lower_limit": [3.5, None, None],
        "upper_limit": [4.5, 2.2, None], "readings": [400, 90, 12], "mean": [4.0, 1.8, 0.4], "sigma": [0.1, 0.2, 0.1],
        "cpk": [1.7, None, None], "ppk": [1.6, None, None], "low": [1.5, None, None], "high": [1.72, None, None],
        "outside": [0.0, 0.02, None], "outside_low": [0.0, 0.01, None], "outside_high": [0.01, 0.05, None],
        "method": ["normal", "normal", "none"],
        "refused": ["", "Not stable: the order of the values is not that of chance.", "No limit is known: give one."],
    }
    return CapabilityIndices(pl.DataFrame(columns), {"measure": "test_values", "by": ("test",), "level": 0.95})


def detection() -> TimeToDetect:
    columns: dict[str, Any] = {
        "site": ["Alder", "Alder", "Birch"], "size": [12.0, 12.0, 0.0], "before": [0.05, 0.05, None],
        "after": [0.1, 0.1, None], "chart": ["p chart by month", "CUSUM job by job", "none"],
        "mean": [20.8, 13.9, None], "median": [17.4, 11.7, None], "within": [39.1, 25.6, None],
        "mean_time_between_false_alarms": [442.8, 455.9, None],
    }
    settings = {"measure": "comebacks", "by": ("site",), "change": 2.0, "chance": 0.9, "where": {}}
    return TimeToDetect(pl.DataFrame(columns), settings)
