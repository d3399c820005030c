"""The page's section on the diagnostics: which tests can be believed, what escapes them, what none covers."""

from dataclasses import replace
from datetime import date

import polars as pl

from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.finding import Finding
from rqa.answers.core.ground_list import FOUND
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.core.result import Answer
from rqa.answers.improve.findings import MonthFindings
from rqa.answers.tests.coverage import CoverageGap
from rqa.depot import Depot
from rqa.review.facts import FigureScope, PageFigure, PageTable, Section
from rqa.review.figures import enough, figure_of
from rqa.words import count, counted, interval, listed, percent, plural, spoken

ESCAPES = (
    "Each row is a test: dot = caught, of the faults it caught or that escaped it, line = 95 % interval; the soft "
    "band says how far it may be off by jobs not yet mature and come-backs without a finding. Faults nobody ever "
    "noticed are in neither. "
)
HEADING = "Can the tests be believed"
WINDOW = 90
FLAKY = "retest passes by test"
STATIONS = 3
"""Findings about stations that are told."""
MOVED = ("station drift", "station difference")
"""Kinds of findings that this section tells."""


def diagnostics(depot: Depot, span: tuple[date, date], found: MonthFindings) -> Section:
    """Flaky tests, escapes, gaps and drifting stations over the months `span`; what stands out is in `found`."""
    there, basis = depot.grounds(span, window=WINDOW), FigureScope(span, WINDOW)
    none = there.lack("diagnostics", "tested_there", about="whether the tests can be believed")
    if none or "retests" not in found.answers:
        return Section("believed", HEADING, basis, () if none is None else (none,))
    retests, gap = found.answers["retests"], depot.tests.coverage_gap(window=WINDOW, months=span)
    words = [_flaky(there, retests.table, found)]
    words.append(_gap(there, gap))
    figures = [_escapes(depot, span)]
    moved = stations_told(depot, found)
    if "station" not in depot.people:
        words.append(_moved(moved) if moved else _steady(there, found))
    return Section(
        "believed", HEADING, basis, tuple(words), notes=tuple(n for n in retests.notes if n not in words),
        tables=tuple(t for t in (_table(retests),) if t.rows),
        figures=tuple(f for f in figures if f is not None),
    )


def stations_told(depot: Depot, found: MonthFindings) -> list[Finding]:
    """The findings about stations that this section tells."""
    if "station" in depot.people or "retests" not in found.answers:
        return []
    return [f for f in found.findings if f.kind in MOVED and not depot.people & set(f.scope)][:STATIONS]


def _flaky(there: Grounds, table: pl.DataFrame, found: MonthFindings) -> str:
    named = {f.scope["test"] for f in found.findings if f.kind == FLAKY}
    fails, judged, again, runs = (int(table[name].sum()) for name in ("fails", "judged", "retest_passes", "runs"))
    rests_on = ("diagnostics", "tested_there")
    if not fails:
        said = f"None of {counted(runs, 'run')} of diagnostics failed."
        return there.claim(said, *rests_on, about="whether a diagnostic failed", among=(runs, "judged runs"))
    lacks = there.lack(*rests_on, "steps", "logged_there", about="whether failed runs passed again with nothing done")
    if lacks:
        return lacks
    if not judged:
        none = (judged, "failed runs of which it is known what was done before the next one")
        about = "whether failed runs passed again with nothing done"
        return there.claim("", *rests_on, "steps", about=about, among=none)
    of = f"{count(again)} of {counted(judged, 'failed run')}"
    if judged < fails:
        known = f"Of {counted(fails, 'failed run')} it is known of {count(judged)} what was done before the next one"
        of = f"{known}: {count(again)} of them"
    said = f"{of} ({percent(again / judged)}) passed again with nothing done in between"
    if not named:
        stands = f"{said}; no test stands out in this by more than chance would make it."
        among = (found.compared.get(FLAKY, 0), f"two tests with {SMALLEST} failed runs or more each")
        told = there.claim(stands, *rests_on, "steps", about="whether one test passes again more often", among=among)
        return told if told.told else Sentence(f"{said}. {told}", told.rests_on, told.lacks)
    rows = table.filter(pl.col("test").is_in(sorted(named))).iter_rows(named=True)
    worst = listed([f"“{spoken(r['test'])}” {percent(r['share'])}" for r in rows])
    return (
        f"{said}. More than at the others: {worst}. Do not rely on such a fail alone: a fault that comes "
        "and goes looks the same, and so does work that nobody logged."
    )


def _gap(there: Grounds, gap: CoverageGap) -> str:
    about, known = "which faults no test covers", int(gap.table["returned"].sum())
    rows = (
        gap.table.filter(pl.col("uncovered") > 0).sort(["uncovered", "subsystem"], descending=[True, False]).to_dicts()
    )
    rests_on, among = ("diagnostics", "tests", "covered_tests", *FOUND), (known, "come-backs with a known fault")
    if not rows:
        every = f"Each fault found in {counted(known, 'come-back')} is covered by some test."
        return there.claim(every, *rests_on, about=about, among=among)
    told = listed([f"{spoken(r['subsystem'])} ({count(r['uncovered'])})" for r in rows[:3]])
    said = f"Come-backs whose fault no test covers: {told}"
    if len(rows) > 1:
        most, whole = rows[0]["uncovered"], sum(r["uncovered"] for r in rows)
        said += f". A test for the first would cover {count(most)} of {count(whole)}"
    return there.lack(*rests_on, about=about) or f"{said}."


def _steady(there: Grounds, found: MonthFindings) -> Sentence:
    """No station stands out, of those that could be compared."""
    compared = sum(found.compared.get(kind, 0) for kind in MOVED)
    return there.claim(
        f"No station is seen to drift or to read differently from the others, in {counted(compared, 'comparison')}.",
        "test_values", "station", about="whether a station drifts or reads differently from the others",
        among=(compared, "stations with enough readings beside those of another"),
    )


def _moved(stations: list[Finding]) -> str:
    told = "; ".join(f"{f.where} {f.what}" for f in stations)
    return f"{told}. Check the calibration before believing the readings."


def _escapes(depot: Depot, span: tuple[date, date]) -> PageFigure | None:
    answer = depot.tests.escapes(window=WINDOW, months=span)
    sized = answer.table.with_columns((pl.col("caught") + pl.col("escaped")).alias("faults"))
    answer = replace(answer, table=enough(replace(answer, table=sized), "faults")[0].table.drop("faults"))
    if answer.table.is_empty():
        return None
    heading = "Faults caught, of those caught or escaped, by test"
    heads = ("test", "caught", "escaped", "sensitivity", "95 % interval")
    cells = tuple(
        (spoken(r["test"]), count(r["caught"]), count(r["escaped"]), percent(r["sensitivity"]),
         interval(r["low"], r["high"]))
        for r in answer.table.iter_rows(named=True)
    )
    return figure_of("escapes", heading, ESCAPES.strip(), answer, PageTable(heading, heads, cells), noted=True)


def _table(retests: Answer) -> PageTable:
    kept, left = enough(retests, "runs")
    shown, whole = kept.table, retests.table
    rest = {name: int(whole[name].sum()) - int(shown[name].sum()) for name in ("runs", "fails", "retest_passes")}
    # Where all can be judged the share is of those that failed.
    part = whole["judged"].sum() < whole["fails"].sum()
    judged = ("of them judged",) if part else ()
    heads = ("test", "runs", "failed", *judged, "passed again with nothing done", "share", "95 % interval")
    cells = tuple(
        (spoken(r["test"]), count(r["runs"]), count(r["fails"]), *((count(r["judged"]),) if part else ()),
         count(r["retest_passes"]), percent(r["share"]), interval(r["low"], r["high"]))
        for r in shown.iter_rows(named=True)
    )
    more = (
        f"; not shown {plural(left, 'is', 'are')} {counted(left, 'more test')} with {counted(rest['runs'], 'run')}, "
        f"{count(rest['fails'])} of them failed, of which {count(rest['retest_passes'])} passed again: fewer than "
        f"{SMALLEST} runs, or such as would give these away"
    )
    return PageTable(f"Failed runs that passed again{more if left and cells else ''}", heads, cells)
