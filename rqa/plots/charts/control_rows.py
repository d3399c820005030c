"""A control chart's table as rows to be drawn, and the words about it: title, lines under it, text alternative."""

from collections.abc import Mapping
from datetime import date
from itertools import groupby
from typing import Any

from rqa.answers.charts.control_chart import ControlChart
from rqa.answers.core.needs import said_of
from rqa.plots.level_change import LINE, change_of
from rqa.plots.reading import by_of
from rqa.words import MONTHS, figure, known, listed, month_key, month_name, percent, spoken, week_of

MEASURES = {
    "comebacks": "Come-backs within {window} days, by closing {period}",
    "first_pass_yield": "First-pass yield by {period}",
    "first_run_pass": "First-run pass share of diagnostics by {period}",
    "clean_jobs": "Clean-job share by {period}",
    "failed_checks": "Failed first checks a job, by {period}",
    "labour_minutes": "Labour on repaired jobs by {period}",
    "step_minutes": "Minutes that first attempts took, by {period}",
    "step_values": "Values measured at first attempts, by {period}",
    "test_values": "Values measured at first runs, by {period}",
    "jobs_between_comebacks": "Jobs between come-backs within {window} days",
    "days_between_comebacks": "Days between come-backs within {window} days",
}
IN_TITLE = ("minutes",)
"""Units that the title does not say already."""
BEYOND = {"above the upper limit": "above", "below the lower limit": "below"}
LONGEST_WORD = 34
NO_LIMITS = "no limits yet: too little data"
GOAL = "Goal, as a dashed line: {goal}."
SAID = 8
"""Signals spelled out in the text alternative."""


def measure_title(chart: ControlChart) -> str:
    """The title of a control chart: its measure in words."""
    measure, period = str(chart.settings.get("measure", "share")), str(chart.settings.get("period", "month"))
    pattern = MEASURES.get(measure, measure.replace("_", " ").capitalize() + " by {period}")
    title = pattern.format(window=chart.settings.get("window", 30), period=period)
    unit = str(chart.settings.get("unit") or "")
    if unit in IN_TITLE:
        title += f", {unit}"
    if chart.settings.get("chart") == "np chart":
        title += ", number"
    return title + (", moving average (EWMA)" if chart.settings.get("chart") == "EWMA" else "")


def chart_rows(chart: ControlChart) -> list[dict[str, Any]]:
    """One row a point: plain JSON values, and the texts that stand beside the mark and in the tooltip."""
    by = [b for b in by_of(chart) if b not in ("month", "period")]
    every = str(chart.settings.get("period", "month"))
    unit, units = str(chart.settings.get("unit") or ""), chart.settings.get("units") or {}
    if "unit" not in chart.settings:
        unit = "share"
    middle = "middle" if chart.settings.get("measure") == "days_between_comebacks" else "mean"
    rows = []
    for r in chart.table.iter_rows(named=True):
        row: dict[str, Any] = {c: r[c] if known(r[c]) else None for c in ("value", "centre", "lower", "upper")}
        row["panel"] = " · ".join(spoken(r[b]) for b in by)
        row["unit"] = own = _unit(units, " · ".join(str(r[b]) for b in by), unit)
        row |= {"every": every, "on": f"{r['period']:%b %Y}", "size": int(r["size"]), "signal": r["signal"] or ""}
        row |= {"mature": bool(r.get("mature", True)), "stage": int(r.get("stage") or 1), "first": r["period"]}
        row |= {"aside": r.get("set_aside") or "", "share": figure(row["value"], own)}
        row["centre_said"] = figure(row["centre"], own)
        row["limits"], row["middle"] = _limits(row, own), middle
        rows.append(row)
    rows.sort(key=lambda row: row["panel"])
    _number(rows, every)
    _say_signals(rows)
    _say_stages(rows, chart.settings.get("stages") or ())
    _say_no_limits(rows)
    for row in rows:
        del row["first"]
    return rows


def _unit(units: object, panel: str, unit: str) -> str:
    return str(units.get(panel, unit)) if isinstance(units, Mapping) else unit


def _limits(row: dict[str, Any], unit: str) -> str:
    if row["lower"] is None:
        return "no limits" if row["value"] is not None else "no data"
    return f"{figure(row['lower'], unit)} to {figure(row['upper'], unit)}"


def _number(rows: list[dict[str, Any]], every: str) -> None:
    """The key and name of each point: its month, its week, or its number and day."""
    for _, group in groupby(rows, key=lambda r: r["panel"]):
        for number, row in enumerate(group, 1):
            first: date = row["first"]
            if every == "month":
                row["month"] = month_key(first)
            else:
                row["month"] = week_of(first) if every == "week" else f"{number:06d}"
            row["number"] = number
            row["name"] = month_name(row["month"]) if every in ("month", "week") else f"number {number}, {first}"


def _say_signals(rows: list[dict[str, Any]]) -> None:
    """Put the word beside the outermost point of a run of like signals, with the length of the run."""
    for row in rows:
        row["word"] = ""
    for (_, signal), group in groupby(rows, key=lambda r: (r["panel"], r["signal"])):
        run = list(group)
        if signal:
            furthest = max(run, key=lambda r: abs(r["value"] - r["centre"]))
            side = short(signal)
            many = len(run) > 1 and signal in BEYOND
            furthest["word"] = f"{side}, {len(run)} {_many(run[0]['every'])}" if many else side


def short(signal: str) -> str:
    """The word beside a signal: its side, or the pattern's name; more patterns at one point are only hinted at."""
    first, *more = signal.split("; ")
    pattern, _, side = first.partition(", ")
    word = f"{pattern.split(' beyond')[0]} {side.removesuffix(' the centre')}".strip()
    return BEYOND.get(first, word) + " …" * bool(more)


def _many(every: str) -> str:
    return f"{every}s"


def _say_stages(rows: list[dict[str, Any]], stages: Any) -> None:
    """Name each new stage at its first point, by what it was split at."""
    before: dict[str, Any] | None = None
    for row in rows:
        row["stage_word"] = ""
        if before is not None and before["panel"] == row["panel"] and row["stage"] > before["stage"]:
            names = [name for name, day in stages if before["first"] < day <= row["first"]]
            row["stage_word"] = ", ".join(n if not n[:4].isdigit() else f"from {_dated(n)}" for n in names)
            row["stage_word"] = row["stage_word"] or f"stage {row['stage']}"
        before = row


def _dated(name: str) -> str:
    """A month or day in short: Jan 2026."""
    return f"{MONTHS[int(name[5:7]) - 1][:3]} {name[:4]}"


def _say_no_limits(rows: list[dict[str, Any]]) -> None:
    """Say at a panel's first point that it has no limits at all."""
    for _, group in groupby(rows, key=lambda r: r["panel"]):
        panel = list(group)
        for row in panel:
            row["no_limits"] = ""
        if all(row["lower"] is None for row in panel):
            panel[0]["no_limits"] = NO_LIMITS


def headings(answer: ControlChart, rows: list[dict[str, Any]], early: str) -> list[str]:
    """The lines under the title: how to read the picture."""
    every, events = rows[0]["every"], rows[0]["every"] == "come-back"
    limited, lines = any(r["lower"] is not None for r in rows), []
    if events:
        lines.append("a point is a come-back" + ", the band = limits of chance" * limited)
    else:
        band = f"band = limits of chance for the {every}'s size; " * limited
        lines.append(f"{band}bars at the foot = size (up to {max(r['size'] for r in rows):,} a {every})")
    lines.append(
        "diamond with a word = a signal: more than chance, look for a cause"
        if any(r["signal"] for r in rows)
        else said_of(answer, f"no {every} is outside the limits") * limited
    )
    if any(r["aside"] for r in rows):
        lines.append("cross = set aside, for the reason beside it")
    if any(r["stage_word"] for r in rows):
        lines.append("dashed upright line = a new stage, with limits of its own")
    if change_of(answer):
        lines.append(LINE)
    if answer.goal is not None:
        lines.append(f"dashed level line = goal, {percent(answer.goal)}")
    if any(not r["mature"] for r in rows):
        lines.append(f"hollow, in the dashed frame: {early}, not judged")
    return [line for line in lines if line]


def describe(
    answer: ControlChart, rows: list[dict[str, Any]], title: str, early_is: str, *, goal: bool = True
) -> str:
    """The text alternative: the span, centre, goal, signals, points set aside, the last mature point."""
    every = rows[0]["every"]
    text = [f"{title}, {rows[0]['name']} to {rows[-1]['name']}."]
    if every in ("month", "week"):
        text = [f"{title}, {month_name(min(r['month'] for r in rows))} to {month_name(max(r['month'] for r in rows))}."]
    change = change_of(answer)
    text += _centres(rows) if change is None else [change.said]
    text += [] if answer.goal is None or not goal else [GOAL.format(goal=percent(answer.goal))]
    loud = [
        f"{r['panel'] + ' ' if r['panel'] else ''}{r['name']} {r['share']}, {r['signal']}" for r in rows if r["signal"]
    ]
    more = f" and {len(loud) - SAID} more" if len(loud) > SAID else ""
    limited = any(r["lower"] is not None for r in rows)
    quiet = said_of(answer, f"No {every} is outside the limits.") if limited else "No limits: too little data."
    text.append(f"Signals: {listed(loud[:SAID])}{more}." if loud else quiet)
    text += [f"Set aside: {r['name']} {r['share']}, {r['aside']}." for r in rows if r["aside"]]
    text += [f"New stage at {r['name']}: {r['stage_word']}." for r in rows if r["stage_word"]]
    have = [r for r in rows if r["mature"] and r["value"] is not None]
    if have:
        last = {r["panel"]: r for r in have}
        each = [
            f"{panel + ' ' if panel else ''}{r['name']}, {r['share']} of {r['size']:,}" for panel, r in last.items()
        ]
        more = f" and {len(each) - SAID} more" if len(each) > SAID else ""
        text.append(f"Last matured {every}: {'; '.join(each[:SAID])}{more}.")
    early = list(dict.fromkeys(r["name"] for r in sorted(rows, key=lambda r: str(r["month"])) if not r["mature"]))
    if early:
        text.append(f"{early_is.capitalize()}: {', '.join(early)}.")
    return " ".join(text)


def _centres(rows: list[dict[str, Any]]) -> list[str]:
    """The centre of each panel and stage."""
    found: dict[tuple[str, int], str] = {}
    for r in rows:
        if r["centre"] is not None:
            found.setdefault((r["panel"], r["stage"]), f"{r['middle'].capitalize()} {r['centre_said']}")
    staged = any(stage > 1 for _, stage in found)
    return [
        f"{panel}: " * bool(panel) + said + f" in stage {stage}" * staged + "."
        for (panel, stage), said in found.items()
    ]
