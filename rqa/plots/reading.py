"""What a chart needs to know of an answer: which column is the share, of how many, and what to call it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.core.result import Answer
from rqa.answers.steps.conformance import Conformance
from rqa.answers.yields.clean import CleanJobs
from rqa.answers.yields.first_pass import FirstPassYield
from rqa.answers.yields.rework import Rework
from rqa.words import (
    NAMES,
    count,
    counted,
    counted_of,
    interval,
    known,
    listed,
    month_key,
    month_name,
    percent,
    spoken,
    week_of,
)

PARTITION = {"month", "week", "site", "model", "procedure", "technician", "billing"}
"""Groupings under which every job counts once, so that the rows may be added up to one overall share."""
FITTING = 5
"""Values of a filter that are all named under a title."""


@dataclass(frozen=True)
class ShareReading:
    """How to read an answer's table as shares with intervals."""

    title: str
    value: str
    size: str
    events: str
    did: str
    of: str
    high_first: bool
    adds_up: bool
    by: tuple[str, ...]
    level: float

    @property
    def level_text(self) -> str:
        """The level of the intervals as text, "95 %"."""
        return f"{self.level * 100:g} %"


def by_of(answer: Answer) -> tuple[str, ...]:
    """The groupings of an answer, as a tuple of names."""
    by: Any = answer.settings.get("by", ())
    return (by,) if isinstance(by, str) else tuple(by or ())


def read(answer: Answer) -> ShareReading:
    """The reading of an answer that consists of shares; what is none of the others is a rolled yield."""
    by, settings = by_of(answer), answer.settings
    level = float(str(settings.get("level", 0.95)))
    if isinstance(answer, Comebacks):
        title = f"Come-backs within {counted(settings.get('window', 30), 'day')}"
        if settings.get("index_disposition", "repaired") != "repaired":
            title += " of visits without fault found"
        return ShareReading(
            title, "rate", "matured", "returned", "came back", "matured jobs", True, set(by) <= PARTITION, by, level
        )
    if isinstance(answer, FirstPassYield):
        tests = settings.get("of") == "diagnostics"
        return ShareReading(
            "First-run pass share of diagnostics" if tests else "First-pass yield",
            "yield",
            "exposures",
            "passed",
            "passed first time",
            "first runs" if tests else "first checks",
            False,
            True,
            by,
            level,
        )
    if isinstance(answer, CleanJobs):
        return ShareReading(
            "Clean-job share",
            "share",
            "jobs",
            "clean",
            "were clean",
            "checked jobs",
            False,
            set(by) <= PARTITION,
            by,
            level,
        )
    if isinstance(answer, Conformance):
        return ShareReading(
            "Jobs that followed their procedure",
            "share",
            "jobs",
            "as_should",
            "followed it",
            "repaired jobs",
            False,
            set(by) <= {*PARTITION, "bench"},
            by,
            level,
        )
    if isinstance(answer, Rework):
        return ShareReading(
            "Steps done again", "share", "executed", "reworked", "done again", "first attempts", True, True, by, level
        )
    return ShareReading("Rolled yield", "yield", "steps", "", "", "steps", False, False, by, level)


def limits(answer: Answer) -> list[str]:
    """What the question was limited to, as a line under the title: filters, of many values a few, and months."""
    where: Any = answer.settings.get("where") or {}
    parts = [f"{NAMES.get(k, k)} {listed(_few(values), last='or')}" for k, values in where.items()]
    months: Any = answer.settings.get("months")
    if months:
        first, last = (month_name(m) for m in months)
        parts.append(first if first == last else f"{first} to {last}")
    return [f"only {'; '.join(parts)}"] if parts else []


def _few(values: Sequence[object]) -> list[str]:
    """The values as said; of more than fit on a line the first few, and how many more there are."""
    said = [spoken(v) for v in values]
    return said if len(said) <= FITTING else [*said[: FITTING - 2], f"{len(said) - FITTING + 2} more"]


def heading(reading: ShareReading) -> str:
    """The chart's title: what, and by what."""
    names = [NAMES.get(b, b) for b in reading.by]
    return f"{reading.title}, by {' and '.join(names)}" if names else reading.title


def row_of(row: Mapping[str, Any], reading: ShareReading) -> dict[str, Any]:
    """One table row as a chart row: plain JSON values, the texts that stand beside the mark and in the tooltip."""
    size = int(row[reading.size])
    value, low, high = (row[c] if known(row[c]) else None for c in (reading.value, "low", "high"))
    made: dict[str, Any] = {
        "label": " · ".join(_label(row, b) for b in reading.by) or "all",
        "value": value,
        "low": low,
        "high": high,
        "size": size,
        "share": percent(value),
        "interval": interval(low, high),
    }
    if reading.events:
        made["counts"] = f"{count(row[reading.events])} of {count(size)}"
    else:
        made["counts"] = counted_of(size, reading.of)
    if "jobs" in row and reading.size == "matured":
        made["jobs"] = int(row["jobs"])
    if "unchecked" in row:
        made["unchecked"] = int(row["unchecked"])
    if "normalised_yield" in row:
        made["a step"] = percent(row["normalised_yield"])
    for b in reading.by:
        made[f"by_{b}"] = month_key(row[b]) if b == "month" else str(row[b])
    return made


def _label(row: Mapping[str, Any], by: str) -> str:
    return month_name(week_of(row[by])) if by == "week" else spoken(row[by])


def said(row: Mapping[str, Any], reading: ShareReading) -> str:
    """One row in words, for text alternatives."""
    if row["value"] is None:
        noun = counted_of(row["size"], reading.of).partition(" ")[2]
        return f"{row['label']}: no data" + (f" ({row['counts']} {noun})" if reading.events else "")
    return f"{row['label']}: {row['share']} ({row['counts']}, {reading.level_text} interval {row['interval']})"
