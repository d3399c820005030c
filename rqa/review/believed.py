"""The page's section on the diagnostics: which tests can be believed, what escapes them, what none covers."""

from dataclasses import replace
from datetime import date

import polars as pl

from rqa.answers.contrasts import SMALLEST
from rqa.answers.finding import Finding
from rqa.answers.improvement_results import MonthFindings
from rqa.review.asked import Asked
from rqa.review.facts import Figure, Section, Table
from rqa.review.figures import figure_of
from rqa.words import count, interval, listed, percent, spoken

ESCAPES = (
    "Each row is a test: dot = caught, of the faults it caught or that escaped it, line = 95 % interval; the soft "
    "band says how far it may be off by jobs not yet mature and come-backs without a finding. Faults nobody ever "
    "noticed are in neither. "
)
HEADING = "Can the tests be believed"
FLAKY = "retest passes by test"
MOVED = ("station drift", "station difference")
"""Kinds of findings that this section tells."""


def believed(depot: Asked, span: tuple[date, date], found: MonthFindings) -> Section:
    """Flaky tests, escapes, gaps and drifting stations over the months `span`; what stands out is in `found`."""
    if "retests" not in found.answers:
        return Section("believed", HEADING, ("No month is final yet.",))
    if not found.answers["retests"].table["runs"].sum():
        return Section("believed", HEADING, ("No diagnostic is logged in these months.",))
    retests, gap = found.answers["retests"], depot.coverage_gap(months=span)
    words = [_flaky(retests.table, {f.scope["test"] for f in found.findings if f.kind == FLAKY})]
    words += [_gap(gap.table)] if gap.table["uncovered"].sum() else []
    figures = [_escapes(depot, span)]
    moved = [f for f in found.findings if f.kind in MOVED]
    words += [_moved(moved)] if moved else ["No station is seen to drift or to read differently from the others."]
    return Section(
        "believed", HEADING, tuple(words), notes=retests.notes,
        tables=tuple(t for t in (_table(retests.table),) if t.rows),
        figures=tuple(f for f in figures if f is not None),
    )  # fmt: skip


def _flaky(table: pl.DataFrame, named: set[str]) -> str:
    fails, again = int(table["fails"].sum()), int(table["retest_passes"].sum())
    if not fails:
        return "No diagnostic failed in these months."
    of = f"{count(again)} of {count(fails)} failed runs"
    said = f"{of} ({percent(again / fails)}) passed again with nothing done in between"
    if not named:
        return f"{said}; no test stands out in this."
    rows = table.filter(pl.col("test").is_in(sorted(named))).iter_rows(named=True)
    worst = listed([f"“{spoken(r['test'])}” {percent(r['share'])}" for r in rows])
    return f"{said}. More than at the others: {worst}. Such a test is not to be believed until it is mended."


def _gap(table: pl.DataFrame) -> str:
    rows = table.filter(pl.col("uncovered") > 0).sort(["uncovered", "subsystem"], descending=[True, False]).to_dicts()
    told = listed([f"{spoken(r['subsystem'])} ({count(r['uncovered'])})" for r in rows[:3]])
    said = f"Come-backs whose fault no test covers: {told}"
    if len(rows) > 1:
        most, whole = rows[0]["uncovered"], sum(r["uncovered"] for r in rows)
        said += f". A test for the first would cover {count(most)} of {count(whole)}"
    return f"{said}."


def _moved(stations: list[Finding]) -> str:
    told = "; ".join(f"{f.where} {f.what}" for f in stations[:3])
    return f"{told}. Check the calibration before believing the readings."


def _escapes(depot: Asked, span: tuple[date, date]) -> Figure | None:
    answer = depot.escapes(months=span)
    answer = replace(answer, table=answer.table.filter(pl.col("caught") + pl.col("escaped") >= SMALLEST))
    if answer.table.is_empty():
        return None
    heading = "Faults caught, of those caught or escaped, by test"
    heads = ("test", "caught", "escaped", "sensitivity", "95 % interval")
    cells = tuple(
        (spoken(r["test"]), count(r["caught"]), count(r["escaped"]), percent(r["sensitivity"]),
         interval(r["low"], r["high"]))
        for r in answer.table.iter_rows(named=True)
    )  # fmt: skip
    return figure_of("escapes", heading, ESCAPES.strip(), answer, Table(heading, heads, cells), noted=True)


def _table(table: pl.DataFrame) -> Table:
    heads = ("test", "runs", "failed", "passed again with nothing done", "share", "95 % interval")
    cells = tuple(
        (spoken(r["test"]), count(r["runs"]), count(r["fails"]), count(r["retest_passes"]), percent(r["share"]),
         interval(r["low"], r["high"]))
        for r in table.filter(pl.col("runs") >= SMALLEST).iter_rows(named=True)
    )  # fmt: skip
    return Table("Failed runs that passed again", heads, cells)
