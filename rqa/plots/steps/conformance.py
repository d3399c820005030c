"""Conformance with the procedure by step, and come-backs after each breach of it."""

from collections.abc import Mapping, Sequence
from typing import Any

from rqa.answers.core.grounds import Sentence
from rqa.answers.core.needs import said_of
from rqa.answers.steps.breach_kinds import BATTERY
from rqa.answers.steps.conformance import Breaches, Conformance
from rqa.plots.figure_rows import figure_rows
from rqa.plots.groups import plot_groups
from rqa.plots.months import plot_months
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, nothing
from rqa.words import count, counted, interval, known, listed, percent, spoken

MOST = 25
"""Rows drawn; the table holds all."""
SHORT = {
    "missing": "missing", "skipped": "skipped", "left_failed": "left failed", "out_of_order": "out of order",
    "check_before_tightening": "before tightening", "irreversible_before_hold": "before a hold point",
    "unequal_connectors": "with only the other end done",
}
"""Kinds of breach at a step, in a word or two; a count not done is said by missing, skipped, left failed."""
LABELS = {
    "missing": "step missing from the log", "skipped": "step or check skipped", "left_failed": "failed check left",
    "out_of_order": "out of order", "check_before_tightening": "aligned before tightening",
    "count_not_done": "connectors not counted", "unequal_connectors": "connectors left apart",
    "irreversible_before_hold": "before an open hold point", "pairing": "part without its pair",
    "isolated_late": "battery isolated late", "reconnected_early": "battery connected early",
}
"""Kinds of breach on a row of their own, short enough for a narrow page."""
AT_STEP = {**SHORT, "count_not_done": "not counted", "isolated_late": "too late", "reconnected_early": "too early"}
"""The same beside the name of a step."""
ENDS = (0.1, 10.0)
ENDLESS = 1e9


@draws(Conformance)
def plot_conformance(
    answer: Conformance, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Share of jobs in which each step was done as it should, the lowest first, with what was amiss beside its name."""
    if answer.settings.get("per") == "job":
        draw = plot_months if {"month", "week"} & set(by_of(answer)) else plot_groups
        return draw(answer, headed=headed, width=width, selection=selection)
    rows = sorted(answer.table.iter_rows(named=True), key=lambda r: (r["share"], -r["jobs"], str(r["step"])))
    shown = [_step_row(r, by_of(answer)) for r in rows[:MOST]]
    lowest = min([r["low"] for r in shown if r["low"] is not None] or [0.0])
    return figure_rows(
        shown,
        title="Steps done as they should",
        subtitle=[
            f"dot = share of jobs, line = {_level(answer)} interval; lowest first, with the jobs that departed",
            *limits(answer),
            *_left_out(len(rows)),
        ],
        axis={"format": "%" if lowest < 0.93 else ".1%"},
        domain=(max(0.0, round(lowest - 0.02, 3)), 1.0),
        headed=headed,
        width=width,
    )


@draws(Breaches)
def plot_breaches(answer: Breaches, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """How many times as often jobs come back after each kind of breach, on a log scale around 1."""
    title = f"Come-backs within {counted(answer.settings.get('window', 30), 'day')} after a breach of the procedure"
    told = [r for r in answer.table.iter_rows(named=True) if r["breached"]]
    if not told:
        return nothing(title=title, why=_none_met(answer), headed=headed, width=width, said="none")
    if answer.settings.get("steps"):
        told.sort(key=lambda r: (not known(r["p_value"]), r["p_value"] or 0.0, str(r["kind"]), str(r["step"])))
    rows = [_risk_row(r, by_of(answer)) for r in told[:MOST]]
    return figure_rows(
        rows,
        title=title,
        subtitle=[
            "dot = times as often as on comparable work without it; tick = no difference",
            f"line = {_level(answer)} interval; in brackets: how often the breach was met",
            *limits(answer),
            *_left_out(len(told)),
        ],
        axis={"values": [0.1, 0.3, 1, 3, 10], "format": "~g"},
        domain=ENDS,
        headed=headed,
        width=width,
        mark=1.0,
        kind="log",
    )


def _none_met(answer: Breaches) -> Sentence:
    """That no breach was met, of which kinds it was looked for, in how many jobs, and of how many nothing is known."""
    kinds = [LABELS[kind] for kind in answer.table["kind"].unique(maintain_order=True)]
    among = f" in {counted(answer.judged, 'repaired job')} with a log and a procedure" if answer.judged else ""
    others = f" Of {counted(answer.unjudged, 'other job')} it cannot be told." if answer.unjudged else ""
    return said_of(answer, f"No breach was met{among}. Looked for: {listed(kinds)}.{others}")


def _level(answer: Conformance | Breaches) -> str:
    return f"{float(str(answer.settings.get('level', 0.95))) * 100:g} %"


def _left_out(rows: int) -> list[str]:
    return [f"the first {MOST} of {counted(rows, 'row')}"] if rows > MOST else []


def _place(row: Mapping[str, Any], names: Sequence[str]) -> str:
    return " · ".join(spoken(row[name]) for name in names)


def _step_row(row: Mapping[str, Any], by: Sequence[str]) -> dict[str, Any]:
    met = sorted(((row[kind], word) for kind, word in SHORT.items() if row[kind]), key=lambda m: -m[0])
    amiss = ", ".join(f"{count(n)} {word}" for n, word in met)
    have = known(row["share"])
    return {
        "label": _place(row, (*by, "step")) + (f": {amiss}" if amiss else ""),
        "value": row["share"] if have else None, "low": row["low"], "high": row["high"],
        "beside": f"{percent(row['share'])} of {count(row['jobs'])}" if have else "",
        "interval": interval(row["low"], row["high"]), "why": "" if have else "no data",
    }


def _risk_row(row: Mapping[str, Any], by: Sequence[str]) -> dict[str, Any]:
    names = [*by, "step"] if row.get("step") else list(by)
    where = _place(row, names)
    jobs = counted(row["breached"], "job")
    met = jobs if row["kind"] in BATTERY else percent(row["share"])
    words = AT_STEP if row.get("step") else LABELS
    made = {"label": f"{where + ': ' if where else ''}{words[row['kind']]} ({met})", "value": None, "low": None,
            "high": None, "beside": "", "why": "", "interval": "no data"}
    after = f"{count(row['breached_returned'])} of {count(row['breached_matured'])} came back"
    if row["verdict"] in ("too little work to say", "nothing to compare with") or not (
        row["breached_returned"] or row["expected"]
    ):
        return made | {"why": f"{row['verdict']}: {after}"}
    ratio = row["ratio"] if known(row["ratio"]) else ENDLESS
    low = row["ratio_low"] if known(row["ratio_low"]) else ENDS[0] / ENDLESS
    high = row["ratio_high"] if known(row["ratio_high"]) else ENDLESS
    word = {"comes back more often": " more often", "comes back less often": " less often"}.get(row["verdict"], "")
    times = f"× {ratio:.1f}" if ratio < ENDLESS else "no other came back"
    if not row["breached_returned"]:
        times = f"none of {count(row['breached_matured'])}"
    upper = f"{high:.2g}" if high < ENDLESS else "no limit"
    return made | {
        "value": max(ratio, ENDS[0] / ENDLESS), "low": low, "high": high, "beside": f"{times}{word}",
        "interval": f"{0.0 if low < ENDS[0] / 2 else low:.2g} to {upper}, {row['measure'] or 'ratio'}; {after}",
    }
