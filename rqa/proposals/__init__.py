"""Propose a mapping for a folder of logs: every file looked at, every guess with what it rests on.

`propose` writes `sources.toml` where there is none yet. It guesses, and says so: a line below a stated confidence, or
with something against it, says "check this", and what is not known is left as a line to fill.
"""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import MappingError
from rqa.intake.draft import draft, read_mapping
from rqa.intake.mapping import MAPPING_FILE
from rqa.progress import Progress, silent
from rqa.proposals.proposal import Proposed, proposed
from rqa.proposals.updated import updated
from rqa.proposals.whole_text import guess_rows, mapping_text, marked_lines
from rqa.words import counted, listed
from rqa.written import write_whole

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True)
class Proposal:
    """A proposed mapping: its text, where it was written, what was read and what was not.

    `proposed` holds every guess with its evidence; `checks` are the lines that ask to be checked or filled; `complete`
    says that it has at least one table, so that it can be loaded.
    """

    path: Path
    text: str
    checks: tuple[str, ...]
    not_read: dict[str, str]
    complete: bool
    proposed: Proposed
    added: tuple[str, ...] | None = None
    """What was added to a mapping that was there; None for a new one."""
    kept: int = 0
    """How many settings stood in it, each of which was looked for in the new text and found as it was."""

    @property
    def table(self) -> "pl.DataFrame":
        """A row a guess: set, table, column, value, to_do ("", "check this" or "to fill"), why."""
        import polars as pl

        names = ("set", "table", "column", "value", "to_do", "why")
        return pl.DataFrame(guess_rows(self.proposed), schema=dict.fromkeys(names, pl.String), orient="row")

    @property
    def mapping(self) -> dict[str, Any]:
        """The mapping as plain data, to be changed and handed to `rqa.inspect` or `rqa.load`."""
        return tomllib.loads(self.text)

    def __str__(self) -> str:
        if self.added is not None:
            lines = [f"{self.path.name}: {counted(len(self.added), 'addition')}", *(f"  {a}" for a in self.added)]
            lines += [f"  {label}: not read: {why}" for label, why in self.not_read.items()]
            return "\n".join([*lines, *self._checked(), *self._to_check()])
        tables = [s for s in self.proposed.sets if s.match is not None or s.wide]
        files, sets = counted(self.proposed.files, "file"), counted(len(tables), "set")
        lines = [f"{self.path.name}: {files}, {sets} of them mapped"]
        for one in self.proposed.sets:
            taken = [one.match.table] if one.match is not None else []
            taken += [w.table for w in one.wide]
            what = f"taken for {listed(taken)}" if taken else "not recognised"
            part = f" ({one.group.first.part})" if one.group.first.part else ""
            lines.append(f"  {', '.join(one.group.patterns[:2])}{part}: {counted(one.rows, 'row')}, {what}")
        lines += [f"  {label}: not read: {why}" for label, why in self.not_read.items()]
        return "\n".join([*lines, *self._to_check()])

    def _to_check(self) -> list[str]:
        if not self.checks:
            return []
        return [f"{counted(len(self.checks), 'line')} to check or fill: {', '.join(self.checks[:12])}"
                + (" …" if len(self.checks) > 12 else "")]

    def _checked(self) -> list[str]:
        """What was looked at before a mapping that was there is written anew."""
        if not self.added:
            return []
        return [
            "Checked in the new text: it can be read as TOML; every column that was added stands in its own table; "
            f"{counted(self.kept, 'setting')} that stood there before "
            f"{'is' if self.kept == 1 else 'are'} unchanged, but for paths that have more patterns.",
        ]


def propose(
    workspace: str | Path, *, update: bool = False, write: bool = True, progress: Progress = silent
) -> Proposal:
    """Propose a mapping for the logs in a folder, and write it there as `sources.toml`.

    Parameters:
        workspace: the folder with the logs, in folders of their own or not; it becomes the workspace.
        update: True adds to the `sources.toml` that is there the files and columns that it does not read yet; what
            stands in it stays, comments included.
        write: False writes nothing; `Proposal.text` holds the mapping all the same.
        progress: is told each `rqa.progress.Stage` as it begins.

    Returns a `Proposal`. Printing it says what was found; its text says beside each line what it rests on.

    Every file is read as a load would read it: delimiter, encoding, header row, time formats and decimal mark are told
    from all of a column. Columns are recognised by their headers in twelve languages, by what they hold and by the ids
    that files share. A guess below 80 % is marked "check this", one below 50 % is only listed.

    Raises `MappingError` where the folder has a `sources.toml` already, or holds no file that could be read.
    """
    folder = Path(workspace)
    if not folder.is_dir():
        raise MappingError(f"{folder} is not a folder. Name the folder that holds your logs.")
    path = folder / MAPPING_FILE
    if update and path.exists():
        return _update(folder, path, write=write, progress=progress)
    if write and path.exists():
        raise MappingError(
            f"{path} is there already, and is never overwritten. To add what is new in the folder: "
            f"`rqa map {folder} --update`. To have another proposed, move it away."
        )
    made = proposed(folder, progress=progress)
    if not made.sets and not made.not_read:
        raise MappingError(f"{folder} holds no file that could be a log. Put exports of your logs there (CSV, Excel, "
                           "JSON Lines, Parquet, SQLite).")
    text = mapping_text(made)
    found = draft(tomllib.loads(text))
    complete = not found.faults and bool(found.mapping.table)
    if not complete and not any(f.startswith("table: no [[table]]") for f in found.faults):
        raise MappingError.of(found.faults, "the proposed mapping")
    if write:
        write_whole(path, text.encode())
    return Proposal(path, text, tuple(marked_lines(made)), dict(made.not_read), complete, made)


def _update(folder: Path, path: Path, *, write: bool, progress: Progress) -> Proposal:
    """Add to a mapping that is there what is new in its folder."""
    read_mapping(folder)
    made = updated(folder, progress)
    checks = tuple(marked_lines(made.proposed))
    if write and made.added:
        write_whole(path, made.text.encode())
    return Proposal(path, made.text, checks, dict(made.proposed.not_read), True, made.proposed, made.added,
                    made.kept)
