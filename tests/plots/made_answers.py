"""Answers made by hand, with the columns and settings that the depot gives them."""

from datetime import date
from typing import Any

import polars as pl

from rqa.answers.charts.control_chart import ControlChart
from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.core.result import with_shares
from rqa.answers.yields.clean import CleanJobs
from rqa.answers.yields.first_pass import FirstPassYield
from rqa.answers.yields.rolled import RolledYield

MONTHS = [date(2025 + i // 12, i % 12 + 1, 1) for i in range(10)]
AS_OF = date(2025, 10, 20)


def comebacks(table: dict[str, Any], by: tuple[str, ...], **more: Any) -> Comebacks:
    frame = with_shares(pl.DataFrame(table), part="returned", whole="matured", share="rate", level=0.95)
    return Comebacks(frame, {"by": by, "window": 30, "level": 0.95, "as_of": AS_OF, "where": {}, "months": None} | more)


def by_model(models: tuple[str, ...] = ("Marl-8", "Marl-10", "Quern")) -> Comebacks:
    matured = [400, 300, *[0] * (len(models) - 2)]
    returned = [12, 24, *[0] * (len(models) - 2)]
    table = {"model": list(models), "jobs": [n + 5 for n in matured], "matured": matured, "returned": returned}
    return comebacks(table, ("model",))


def by_month(groups: tuple[str, ...] = ()) -> Comebacks:
    """Eight months are mature, one partly, one not at all."""
    matured = [100] * 8 + [30, 0]
    table: dict[str, Any] = {"month": MONTHS, "jobs": [100] * 10, "matured": matured, "returned": [3] * 8 + [1, 0]}
    if groups:
        table = {"model": [g for g in groups for _ in MONTHS], **{k: v * len(groups) for k, v in table.items()}}
    return comebacks(table, ("model", "month") if groups else ("month",))


def first_pass(
    steps: tuple[str, ...] = ("fit_board", "reseat_cable", "close_case"), of: str = "steps"
) -> FirstPassYield:
    passed = [90 + i % 10 for i in range(len(steps))]
    table = pl.DataFrame(
        {"step": steps, "exposures": 100, "passed": passed, "failed": [100 - p for p in passed], "unchecked": 2}
    )
    frame = with_shares(table, part="passed", whole="exposures", share="yield", level=0.95)
    return FirstPassYield(frame, {"of": of, "by": ("step",), "level": 0.95, "as_of": AS_OF})


def rolled() -> RolledYield:
    table = pl.DataFrame(
        {"procedure": ["board", "display"], "steps": [12, 8], "yield": [0.61, 0.8], "normalised_yield": [0.96, 0.972],
         "low": [0.5, 0.7], "high": [0.7, 0.88]}
    )
    return RolledYield(table, {"by": ("procedure",), "level": 0.95})


def clean(by_months: bool = False) -> CleanJobs:
    key = {"month": MONTHS} if by_months else {"site": ["Alder", "Birch"]}
    rows = len(next(iter(key.values())))
    table = pl.DataFrame({**key, "jobs": [80] * rows, "clean": [60] * rows})
    frame = with_shares(table, part="clean", whole="jobs", share="share", level=0.95)
    return CleanJobs(frame, {"by": tuple(key), "level": 0.95, "as_of": AS_OF})


def control(signals: tuple[int, ...] = (3, 4), by: tuple[str, ...] = ()) -> ControlChart:
    value: list[float | None] = [0.05] * 10
    for i in signals:
        value[i] = 0.16
    value[9] = None
    table = pl.DataFrame(
        {
            "period": MONTHS,
            "size": [150 - 5 * i for i in range(9)] + [0],
            "value": value,
            "centre": [0.06] * 8 + [None] * 2,
            "lower": [0.01] * 8 + [None] * 2,
            "upper": [0.11 + i / 500 for i in range(8)] + [None] * 2,
            "signal": ["above the upper limit" if i in signals else "" for i in range(10)],
            "mature": [i < 8 for i in range(10)],
        }
    )
    if by:
        table = pl.concat([table.select(pl.lit(site).alias("site"), pl.all()) for site in ("Alder", "Birch")])
    return ControlChart(table, {"measure": "comebacks", "by": by, "period": "month", "window": 30})
