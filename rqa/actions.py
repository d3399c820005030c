"""Improvements kept in a workspace: adding one to its list, and how those there are stand."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.answers.core.action_scope import EXPECTED_FORMS, check_scope, expected_ratio, read_scope
from rqa.answers.core.scope import Snapshot, snapshot_at
from rqa.contract import ACTIONS
from rqa.errors import RequestError
from rqa.intake.draft import read_mapping
from rqa.intake.own_actions import OWN_ACTIONS, add_own_action, own_actions
from rqa.store.engine import open_store
from rqa.store.limits import WAIT_SECONDS
from rqa.words import did_you_mean, listed

if TYPE_CHECKING:
    import polars as pl

FINDING = re.compile(r"F-[0-9a-f]{8}")
PREFIX = "ACT-"
NOT_LOADED = "not loaded yet"


@dataclass(frozen=True)
class AddedAction:
    """An action that was added: its id, the file it stands in, and what a careful reader must know."""

    action_id: str
    path: Path
    notes: tuple[str, ...]


def add_action(
    workspace: str | Path,
    *,
    what: str,
    started_on: str | date,
    scope: str,
    finding: str | None = None,
    owner: str | None = None,
    expected: str | None = None,
    closed_on: str | date | None = None,
    wait: float = WAIT_SECONDS,
) -> AddedAction:
    """Add an improvement to a workspace's `actions.csv`, which the next load reads.

    `scope` is checked against the store as it is now. Its id is the next ACT-n after those of the store and the file.
    No load runs meanwhile; `wait` seconds are waited for one to end. Raises `RequestError` saying which part is wrong.
    """
    from rqa.store.lock import writing

    folder = Path(workspace)
    read_mapping(folder)
    row = {
        "what": _text("what", what, required=True), "started_on": _day("started-on", started_on).isoformat(),
        "scope": _text("scope", scope, required=True), "finding_id": _finding(finding), "owner": _text("owner", owner),
        "expected_change": _text("expected", expected), "closed_on": "",
    }
    if closed_on is not None:
        closed = _day("closed-on", closed_on)
        if closed.isoformat() < row["started_on"]:
            raise RequestError(f"the end, closed-on {closed}, is before the start, started-on {row['started_on']}.")
        row["closed_on"] = closed.isoformat()
    asked = read_scope(row["scope"])
    row["scope"] = str(asked)
    with _looked_at(folder) as snapshot:
        with writing(snapshot.store.path, wait=wait):
            check_scope(snapshot.store, asked)
            there = _there(snapshot, folder)
            for name, other in there.items():
                if all(other.get(key) == row[key] for key in ("what", "started_on", "scope")):
                    raise RequestError(f"this action is there already: {name}.")
            numbers = [int(n[len(PREFIX) :]) for n in there if re.fullmatch(rf"{PREFIX}\d{{1,9}}", n)]
            action_id = f"{PREFIX}{max(numbers, default=0) + 1}"
            path = add_own_action(folder, {"action_id": action_id, **row})
        notes = (*_other_lists(read_mapping(folder)), *_notes(row, snapshot, folder))
    return AddedAction(action_id, path, notes)


def listed_actions(workspace: str | Path) -> "pl.DataFrame":
    """The actions of a workspace with their state: action_id, started_on, closed_on, state, scope, what, expected_on,
    why.

    The state is the verdict of `depot.verdicts()`, or that the action is not loaded yet; null expected_on: not known;
    why: what stands in the way of a verdict that cannot be told or judged, null for others.
    """
    import polars as pl

    from rqa.answers.improve.action_judged import UNTOLD
    from rqa.answers.improve.verdicts import UNJUDGED, verdicts

    folder = Path(workspace)
    read_mapping(folder)
    with _looked_at(folder) as snapshot:
        judged = {row["action_id"]: row for row in verdicts(snapshot).table.iter_rows(named=True)}
        there = _there(snapshot, folder)
    rows = [
        (
            name, row["started_on"], row["closed_on"] or None,
            judged[name]["verdict"] if name in judged else NOT_LOADED, row["scope"], row["what"],
            judged[name]["expected_on"] if name in judged else None,
            judged[name]["warning"] if name in judged and judged[name]["verdict"] in (UNTOLD, UNJUDGED) else None,
        )
        for name, row in there.items()
    ]
    schema = {
        "action_id": pl.String, "started_on": pl.String, "closed_on": pl.String, "state": pl.String, "scope": pl.String,
        "what": pl.String, "expected_on": pl.Date, "why": pl.String,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


@contextmanager
def _looked_at(folder: Path) -> Iterator[Snapshot]:
    with open_store(folder) as store:
        yield snapshot_at(store, None)


def _there(snapshot: Snapshot, folder: Path) -> dict[str, Mapping[str, str]]:
    """The actions of the store and those that stand in the file alone, as texts by id."""
    from rqa.measures.run import counts

    stored = {
        str(row["action_id"]): {name: "" if value is None else str(value) for name, value in row.items()}
        for row in counts(snapshot.store, "actions").iter_rows(named=True)
    }
    own = {row["action_id"]: {"closed_on": "", **row} for row in own_actions(folder) if row["action_id"] not in stored}
    return {**stored, **own}


def _text(name: str, given: str | None, *, required: bool = False) -> str:
    text = " ".join((given or "").split())
    if required and not text:
        raise RequestError(f"{name} is empty; say it in a few words.")
    if not text.isprintable():
        raise RequestError(f"{name} holds signs that cannot be printed: {text!r}.")
    return text


def _day(name: str, given: str | date) -> date:
    try:
        return given if isinstance(given, date) else date.fromisoformat(given)
    except ValueError as error:
        raise RequestError(f"{name}: {given!r} is no day; write it like 2026-01-12.") from error


def _finding(given: str | None) -> str:
    if given is not None and not FINDING.fullmatch(given):
        raise RequestError(f"finding: {given!r} is no finding's id; one looks like F-1a2b3c4d.")
    return given or ""


def _other_lists(mapping: Mapping[str, Any]) -> Iterator[str]:
    """That the mapping reads actions from elsewhere too, so that nobody looks for this one there."""
    tables = [entry for entry in mapping.get("table", []) if entry.get("table") == ACTIONS.name]
    paths = [mapping.get("files", {}).get(entry.get("from"), {}).get("path") for entry in tables]
    given = [str(path) for several in paths for path in (several if isinstance(several, list) else [several]) if path]
    others = [path for path in given if path.removeprefix("./") != OWN_ACTIONS]
    if others:
        yield (
            f"The mapping reads actions from {listed(others)} too; this one is kept in {OWN_ACTIONS} of the workspace, "
            "and both are read at each load."
        )


def _notes(row: Mapping[str, str], snapshot: Snapshot, folder: Path) -> Iterator[str]:
    from rqa.answers.improve.scope_seen import lacking, sites_without

    scope = read_scope(row["scope"])
    if lack := lacking(snapshot, scope):
        yield str(lack)
    else:
        yield from sites_without(snapshot, scope)
    ratio = expected_ratio(row["expected_change"])
    if ratio is None:
        given = f" in {row['expected_change']!r}" if row["expected_change"] else ""
        yield f"No expected change that can be read{given} ({EXPECTED_FORMS}): a halving is planned for."
    else:
        yield f"Expected: come-backs x{ratio:.2g}."
    if date.fromisoformat(row["started_on"]) > snapshot.day:
        yield f"It starts after the latest time in the store, {snapshot.day}."
    for name, done in (("started_on", "starts"), ("closed_on", "is closed")):
        if row[name] and snapshot.first is not None and date.fromisoformat(row[name]) < snapshot.first:
            yield f"It {done} before the first day with data, {snapshot.first}: check the day."
    if row["finding_id"]:
        yield from _unknown_finding(snapshot, row["finding_id"], folder)


def _unknown_finding(snapshot: Snapshot, finding: str, folder: Path) -> Iterator[str]:
    """That no page written here and no comparison of now has a finding of that id, with the nearest there is."""
    from rqa.answers.improve.findings import findings
    from rqa.review.ledger import read_ledger

    known = {
        name for page in read_ledger(folder) for name in FINDING.findall(page.figures.get("findings", ("", ""))[1])
    }
    if finding in known:
        return
    found = findings(snapshot)
    known |= {f.id for f in (*found.findings, *found.gone)}
    if finding not in known:
        yield (
            f"{finding} is no finding of the last month, of the one before, or of a page written here. It is kept as "
            f"given; compare it with where you read it.{did_you_mean(finding, sorted(known))}"
        )
