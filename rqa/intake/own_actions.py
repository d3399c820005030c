"""The workspace's own list of actions, `actions.csv`: each load reads it beside the mapped sources.

It has the contract's own column names, so it needs no mapping; a command adds to it, and it can be edited by hand.
"""

import csv
import io
import os
from collections.abc import Mapping
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from rqa.contract import ACTIONS
from rqa.errors import MappingError
from rqa.intake.mapping import OWN_FILES
from rqa.words import plural
from rqa.written import write_whole

OWN_ACTIONS = "actions.csv"


def with_own_actions(raw: Mapping[str, Any], workspace: Path) -> dict[str, Any]:
    """A mapping as plain data that reads `actions.csv` too, where it is there and not read already."""
    plain = dict(raw)
    files, tables = plain.get("files", {}), plain.get("table", [])
    if not os.path.lexists(workspace / OWN_ACTIONS) or not isinstance(files, Mapping) or not isinstance(tables, list):
        return plain
    patterns = [p for spec in files.values() if isinstance(spec, Mapping) for p in _listed(spec.get("path"))]
    if OWN_FILES in files or any(isinstance(p, str) and fnmatch(OWN_ACTIONS, p.removeprefix("./")) for p in patterns):
        return plain
    # Quotes double inside quotes, as the command writes them; the dates are the contract's own.
    plain["files"] = {**files, OWN_FILES: {"path": OWN_ACTIONS, "delimiter": ","}}
    plain["table"] = [*tables, {"table": ACTIONS.name, "from": OWN_FILES}]
    return plain


def own_actions(workspace: Path) -> list[dict[str, str]]:
    """The rows of `actions.csv` as texts; none where it is not there.

    Raises `MappingError` for a file that is no UTF-8 text, or lacks a column that the contract requires.
    """
    return _read(workspace)[1]


def add_own_action(workspace: Path, row: Mapping[str, str]) -> Path:
    """Append a row to `actions.csv` and put the file in place in one step; makes the file where it is not there.

    Columns that the file has beside the contract's stay empty; one that it lacks is added at the end when it is needed.
    """
    names, rows = _read(workspace)
    names += [n for n in row if n not in names]
    out = io.StringIO()
    writer = csv.DictWriter(out, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows([*rows, dict(row)])
    path = workspace / OWN_ACTIONS
    write_whole(path, out.getvalue().encode("utf-8"))
    return path


def _read(workspace: Path) -> tuple[list[str], list[dict[str, str]]]:
    path = workspace / OWN_ACTIONS
    if not os.path.lexists(path):
        return list(ACTIONS.names), []
    if not path.is_file():
        raise MappingError(f"{path} is no plain file, or a link to one that does not exist. Move it away.")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise MappingError(f"{path} is no UTF-8 text ({error.reason}); save it as UTF-8.") from error
    reader = csv.DictReader(io.StringIO(text, newline=""), restval="")
    names = list(reader.fieldnames or [])
    lacking = [c.name for c in ACTIONS.columns if c.required and c.name not in names]
    if lacking:
        raise MappingError(
            f"{path} lacks the {plural(len(lacking), 'column')} {', '.join(lacking)}. Its first line names, with "
            f"commas between: {', '.join(ACTIONS.names)}."
        )
    rows = list(reader)
    for number, row in enumerate(rows, 2):
        if None in row:
            raise MappingError(
                f"{path}: row {number:,} has more fields than the first line names; put texts in quotes."
            )
    return names, rows


def _listed(given: object) -> list[Any]:
    return [given] if isinstance(given, str) else list(given) if isinstance(given, list | tuple) else []
