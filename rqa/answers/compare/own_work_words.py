"""What a technician's own sheet says: what goes well, and what to practise."""

from typing import TYPE_CHECKING, Any

from rqa.answers.core.grounds import Grounds
from rqa.words import counted, counted_of, estimate, fixed, percent

if TYPE_CHECKING:
    import polars as pl

ABOVE, BELOW, SAME = "above expectation", "below expectation", "not distinguishable"
EVENTS = {
    "first_pass": "failed first checks", "first_run": "failed first runs of tests",
    "comeback": "come-backs", "clean_job": "jobs that were not clean",
}
CASES = {
    "first_pass": "first checks", "first_run": "first runs", "comeback": "matured jobs", "clean_job": "checked jobs",
}
MOST = 4
"""Lines of a list on the sheet."""
OFTEN = 30
"""First checks from which on a step without a failure is named."""


def goes_well(table: "pl.DataFrame") -> tuple[str, ...]:
    """What goes clearly better than the same work does elsewhere; else the steps at which nothing failed."""
    rows = list(table.iter_rows(named=True))
    said = [f"Fewer {_against(row)}." for row in rows if row["verdict"] == BELOW]
    clean = [row for row in rows if row["step"] and not row["events"] and row["cases"] >= OFTEN]
    said += [f"{row['step']}: {_passed(row)}." for row in clean]
    if not said:
        steps = [row for row in rows if row["step"] and row["ratio"] is not None and row["ratio"] <= 1.0]
        said = [f"{row['step']}: {_passed(row)}, as many as the same work brings or more." for row in steps]
    if not said:
        said = [f"{counted_of(rows[0]['cases'], CASES[rows[0]['measure']])} beside comparable work."]
    return tuple(said[:MOST])


def to_practise(table: "pl.DataFrame", learning: "pl.DataFrame", there: Grounds) -> tuple[str, ...]:
    """What is clearly more than the same work brings, step by step first, and what practice says."""
    rows = list(table.iter_rows(named=True))
    above = [row for row in rows if row["verdict"] == ABOVE]
    said = [f"More {_against(row)}. Watch the work first." for row in [r for r in above if r["step"]]]
    said += [
        f"{row['procedure']}: {row['suggestion']}." for row in learning.iter_rows(named=True) if row["suggestion"]
    ]
    said += [f"More {_against(row)}. See first where it comes from." for row in above if not row["step"]]
    if said:
        return tuple(said[:MOST])
    steps = sum(1 for row in rows if row["step"])
    return (
        there.claim(
            "No step and no measure is clearly above what the same work brings.", "technician", "checks",
            about="what to practise", among=(steps, "steps with enough work"),
        ),
    )


def in_brackets(row: dict[str, Any]) -> str:
    """A row's ratio with its limits: "0.51 (0.20 to 0.93)"."""
    if row["ratio"] is None:
        return "no data"
    return f"{fixed(row['ratio'], 2)} ({fixed(row['low'], 2)} to {fixed(row['high'], 2)})"


def _against(row: dict[str, Any]) -> str:
    at = f" at {row['step']}" if row["step"] else ""
    return (
        f"{EVENTS[row['measure']]}{at} than the same work brings: {row['events']:,} of "
        f"{counted_of(row['cases'], CASES[row['measure']])}, where {estimate(row['expected'])} were expected"
    )


def _passed(row: dict[str, Any]) -> str:
    good = row["cases"] - row["events"]
    return f"{good:,} of {counted(row['cases'], 'first check')} passed ({percent(good / row['cases'])})"
