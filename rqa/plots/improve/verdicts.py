"""Did it work: the rates before and after each action, in its scope and beside it, with the verdict in words."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from rqa.answers.core.needs import said_of
from rqa.answers.improve.verdicts import Verdicts
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.theme import WIDTH, nothing
from rqa.words import count, counted, interval, known, percent

TITLE = "Come-backs before and after each action"


@draws(Verdicts)
def plot_verdicts(answer: Verdicts, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Under each action's verdict a row a side, dot and interval; then the work beside it, where there is some."""
    judged = [r for r in answer.table.iter_rows(named=True) if r["outcome"] is not None]
    if not judged or answer.sides is None:
        return nothing(
            title=TITLE, why=said_of(answer, "No action has a scope that can be read."), headed=headed, width=width
        )
    rows = [row for action in judged for row in _rows(action, answer.sides)]
    level = float(str(answer.settings["level"])) * 100
    top = 1.04 * max([min(r["high"], 3 * max(r["value"], 0.01)) for r in rows if r["value"] is not None] + [0.02])
    return figure_rows(
        rows,
        title=TITLE,
        subtitle=[
            f"dot = share of matured jobs back within {counted(answer.settings['window'], 'day')}, line = {level:g} % "
            "interval",
            "the verdict allows for the mix of work and for being read every month",
        ],
        axis={"format": "%" if top > 0.04 else ".1%"},
        domain=(0.0, top),
        headed=headed,
        width=width,
    )


def _rows(action: Mapping[str, Any], sides: pl.DataFrame) -> list[dict[str, Any]]:
    own = sides.filter(pl.col("action_id") == action["action_id"])
    names = {
        ("in scope", "before"): "before",
        ("in scope", "after"): "after",
        ("beside it", "before"): f"{action['comparison']}, before",
        ("beside it", "after"): f"{action['comparison']}, after",
    }
    head: dict[str, Any] = {"label": _verdict(action), "value": None, "low": None, "high": None}
    made = [{**head, "beside": "", "interval": "", "why": action["what"]}]
    for r in own.iter_rows(named=True):
        have = known(r["rate"])
        made.append({
            "label": names[r["work"], r["side"]], "value": r["rate"], "low": r["low"], "high": r["high"],
            "beside": f"{count(r['returned'])} of {count(r['jobs'])}  ·  {percent(r['rate'])}" if have else "",
            "interval": interval(r["low"], r["high"]) if have else "no data",
            "why": "" if have else "no matured job yet",
        })
    return made


def _verdict(action: Mapping[str, Any]) -> str:
    word = str(action["verdict"])
    if known(action["expected_on"]):
        word += f", expected on {action['expected_on']}"
    return f"{action['action_id']}: {word}"
