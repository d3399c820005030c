"""The page's section on actions: what was changed, and whether it worked."""

from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl

from rqa.answers.improvement_results import Verdicts
from rqa.plots.costs import money
from rqa.review.asked import Asked
from rqa.review.facts import Figure, Section, Table
from rqa.review.figures import figure_of
from rqa.words import count, percent

NOTHING = "No action is on record. Add one with rqa action, name the finding it answers, and this page will judge it."
READING = (
    "Rows of an action: come-backs of the work in its scope before and after, and of like work beside it; dot = share, "
    "line = 95 % interval."
)
HEADS = ("action", "what", "began", "before", "after", "net change, points", "95 % interval", "verdict")


def improved(depot: Asked, month: date) -> Section:
    """Each action that had begun by the end of the month, with its verdict; people's own actions are counted only."""
    answer = depot.verdicts()
    table = answer.table.filter(pl.col("started_on").dt.truncate("1mo") <= month)
    open_ones = table.filter(~pl.col("scope").str.contains("technician"))
    private = table.height - open_ones.height
    if table.is_empty():
        return Section("actions", "Actions and verdicts", (NOTHING,))
    notes = list(answer.notes)
    if private:
        notes.append(f"{private} more about single persons: for the trainer, not shown here.")
    savings = depot.action_savings()
    spared = {r["action_id"]: _spared(r, str(savings.settings["currency"])) for r in savings.table.to_dicts()}
    words = tuple(
        " ".join(w for w in (f"{r['what']}: {r['verdict']}{_when(r)}.", spared[r["action_id"]], r["warning"]) if w)
        for r in open_ones.to_dicts()
    )
    notes.append(savings.notes[0])
    figures: tuple[Figure, ...] = ()
    if open_ones.height:
        kept = _only(answer, open_ones)
        heading = "Come-backs before and after each action"
        figures = (figure_of("verdicts", heading, READING, kept, _table(open_ones), noted=False),)
    return Section("actions", "Actions and verdicts", points=words, notes=tuple(notes), figures=figures)


def _spared(row: dict[str, Any], currency: str) -> str:
    """Come-backs spared so far and their cost, each with its limits."""
    if row["avoided"] is None:
        return ""
    avoided, low, high = (f"{row[name]:.1f}".replace("-", "−") for name in ("avoided", "avoided_low", "avoided_high"))
    number = f"Spared so far, by the rates before and after: {avoided} come-backs (95 % interval {low} to {high})"
    if row["cost"] is None:
        return f"{number}."
    return f"{number}, {money(row['cost'], currency)} ({money(row['cost_low'])} to {money(row['cost_high'])})."


def _only(answer: Verdicts, table: pl.DataFrame) -> Verdicts:
    sides = answer.sides
    named = table["action_id"].to_list()
    return replace(answer, table=table, sides=None if sides is None else sides.filter(pl.col("action_id").is_in(named)))


def _when(row: dict[str, object]) -> str:
    return f", expected on {row['expected_on']}" if row["verdict"] == "too early" and row["expected_on"] else ""


def _table(rows: pl.DataFrame) -> Table:
    cells = tuple(
        (
            r["action_id"], r["what"], f"{r['started_on']}", _rate(r["returned_before"], r["jobs_before"]),
            _rate(r["returned_after"], r["jobs_after"]), *_change(r), f"{r['verdict']}{_when(r)}",
        )
        for r in rows.iter_rows(named=True)
    )  # fmt: skip
    return Table("Actions and verdicts", HEADS, cells, 3)


def _rate(returned: int | None, jobs: int | None) -> str:
    return "no data" if not jobs or returned is None else f"{percent(returned / jobs)} of {count(jobs)}"


def _change(row: dict[str, float | None]) -> tuple[str, str]:
    names = ("net", "net_low", "net_high") if row["net"] is not None else ("difference", "low", "high")
    value, low, high = (row[n] for n in names)
    if value is None or low is None or high is None:
        return "no data", "no data"
    return f"{100 * value:+.1f}".replace("-", "−"), f"{100 * low:+.1f} to {100 * high:+.1f}".replace("-", "−")
