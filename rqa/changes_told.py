"""What `rqa watch` says, once: what signals now and was not said before, kept in a file of the workspace."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import RequestError
from rqa.shown import one_line
from rqa.words import counted
from rqa.written import write_whole

if TYPE_CHECKING:
    from rqa.answers.charts.watch import Watch
    from rqa.depot import Depot

STATE = "rqa-watch.json"
"""Beside the store: the day last looked on, and the signals that were said and stand."""
NEW, STANDING, ENDED = "New", "Said before, still standing", "Ended since it was said"
STYLE = "font-family: Arial, Helvetica, sans-serif; font-size: 15px; line-height: 1.45; max-width: 50em"


@dataclass(frozen=True)
class State:
    """What was said: the day last looked on ("" if never), and by series the day on which its signal was raised."""

    looked_on: str
    said: Mapping[str, str]


@dataclass(frozen=True)
class Told:
    """What a watch has to say: signals (rows of the answer) that are new and that stand, series whose signal ended."""

    day: date
    new: tuple[Mapping[str, Any], ...]
    standing: tuple[Mapping[str, Any], ...]
    ended: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def state(self) -> State:
        """What is said once this was told."""
        rows = (*self.standing, *self.new)
        return State(self.day.isoformat(), {r["series"]: r["raised_on"].isoformat() for r in rows})


def folder_of(workspace: Path) -> Path:
    """Where the state of a workspace is kept."""
    return workspace.parent if workspace.is_file() else workspace


def read_state(folder: Path) -> State:
    """What was said so far; `RequestError` for a file that is no such state."""
    path = folder / STATE
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
        said = {str(name): date.fromisoformat(day).isoformat() for name, day in held["said"].items()}
        return State(date.fromisoformat(held["looked_on"]).isoformat(), said)
    except (FileNotFoundError, NotADirectoryError):
        return State("", {})
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RequestError(
            f"{path} does not say what was told before; move it away, and all that stands is told again."
        ) from error


def keep_state(folder: Path, state: State) -> Path:
    """Write down what was said."""
    path = folder / STATE
    text = json.dumps({"looked_on": state.looked_on, "said": dict(state.said)}, ensure_ascii=False, indent=1)
    write_whole(path, f"{text}\n".encode())
    return path


def told(answer: "Watch", day: date, state: State) -> Told:
    """What is new of an answer, by what was said before.

    A signal is new where its series was not said, or where its sum began to grow after the signal that was said had
    been raised: then that one ended in between.
    """
    rows = list(answer.table.iter_rows(named=True))
    new = [r for r in rows if r["since"].isoformat() > state.said.get(r["series"], "")]
    there = {r["series"] for r in rows}
    return Told(
        day, tuple(new), tuple(r for r in rows if r not in new), tuple(n for n in state.said if n not in there),
        tuple(map(str, answer.notes)),
    )


def look(depot: "Depot", *, window: int, false_alarms: float, state: State) -> Told:
    """Ask a depot what changed, and say what of it is new."""
    answer = depot.charts.watch(window=window, false_alarms=false_alarms)
    return told(answer, depot.as_of.date(), state)


def _line(row: Mapping[str, Any]) -> str:
    ratio = f"{row['ratio']:.1f} times as many" if row["expected"] else ""
    return f"{one_line(row['series'])}: {row['counted']} ({ratio}) since {row['since']}; raised {row['raised_on']}."


def _command(row: Mapping[str, Any], asked: str) -> str:
    return f'rqa jobs {asked} --watch "{one_line(row["series"])}"'


def text(what: Told, asked: str) -> str:
    """The message as plain text; `asked` is the workspace with the options that `rqa jobs` is to be given, too."""
    said = [f"What changed, as of {what.day}: {_head(what)}"]
    for heading, rows in ((NEW, what.new), (STANDING, what.standing)):
        if rows:
            said += ["", f"{heading}:"]
            for row in rows:
                said += [f"- {_line(row)}", f"  Its jobs: {_command(row, asked)}"]
    if what.ended:
        said += ["", f"{ENDED}: {', '.join(map(one_line, what.ended))}."]
    return "\n".join([*said, "", *map(one_line, what.notes)]) + "\n"


def _head(what: Told) -> str:
    parts = [f"{counted(len(what.new), 'new signal')}", f"{len(what.standing)} said before"]
    return f"{', '.join(parts)}."


def html(what: Told, asked: str) -> str:
    """The message as a page that loads nothing, to be mailed as it is."""
    parts = [f"<p><b>What changed, as of {what.day}</b>: {escape(_head(what))}</p>"]
    for heading, rows in ((NEW, what.new), (STANDING, what.standing)):
        if rows:
            items = "".join(
                f"<li>{escape(_line(r))}<br>Its jobs: <code>{escape(_command(r, asked))}</code></li>" for r in rows
            )
            parts.append(f"<p>{heading}:</p><ul>{items}</ul>")
    if what.ended:
        parts.append(f"<p>{ENDED}: {escape(', '.join(map(one_line, what.ended)))}.</p>")
    parts += [f"<p>{escape(one_line(note))}</p>" for note in what.notes]
    title = f"What changed, as of {what.day}"
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title></head>\n'
        f'<body style="{STYLE}">\n' + "\n".join(parts) + "\n</body></html>\n"
    )


def as_json(what: Told, asked: str) -> str:
    """The message for a program: new, standing, ended, notes."""

    def rows(signals: tuple[Mapping[str, Any], ...]) -> list[dict[str, Any]]:
        return [
            {name: value.isoformat() if isinstance(value, date) else value for name, value in r.items()}
            | {"jobs_command": _command(r, asked)}
            for r in signals
        ]

    made = {
        "as_of": what.day.isoformat(), "new": rows(what.new), "standing": rows(what.standing),
        "ended": list(what.ended), "notes": list(what.notes),
    }
    return json.dumps(made, ensure_ascii=False, indent=1) + "\n"


FORMATS = {"text": text, "html": html, "json": as_json}
