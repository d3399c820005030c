"""What a load did, file by file, with a proof that no row was lost."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rqa.shown import one_line, short, told
from rqa.store.remark_words import NO_UNIT_TWICE, NO_UNIT_TWICE_NEXT
from rqa.store.seen import Seen
from rqa.words import counted, plural

SHOWN = 8
"""Kinds of refusals, and of remarks, shown in the summary unless all are asked for."""


def withdrew(rows: int) -> str:
    """What is said of the rows that a load withdrew; nothing where it withdrew none."""
    said = f"Also withdrew {counted(rows, 'row')} from the store: the present files and mapping do not give"
    return f"{said} {plural(rows, 'it', 'them')} any more." if rows else ""


def changed_in_store(replaced: int, withdrawn: int) -> str:
    """What is said of the stored rows that a load replaced, as their file gives others for them, and withdrew."""
    place = "its place" if replaced == 1 else "their place"
    said = f"Also replaced {counted(replaced, 'row')} of the store by what the file gives in {place} now."
    return " ".join(s for s in (said if replaced else "", withdrew(withdrawn)) if s)


@dataclass(frozen=True)
class FileCount:
    """One file's account for one table: in_file = read + left_out, read = accepted + refused + known + superseded +
    merged.
    """

    source_file: str
    table: str
    in_file: int
    left_out: int
    read: int
    accepted: int
    refused: int
    known: int
    superseded: int
    unchanged: bool = False
    withdrawn: int = 0
    """Rows that the store had of it and that it gives no more; they are none of those read."""
    replaced: int = 0
    """Rows that the store had of it and for which it gives another one now."""
    had: int = 0
    """Rows that the store had of it before; 0 where the mapping has those of a file that is gone withdrawn."""
    merged: int = 0
    """Lines that went into the job of another line."""

    @property
    def adds_up(self) -> bool:
        """Whether every row of the file is accounted for exactly once."""
        return (
            self.read == self.accepted + self.refused + self.known + self.superseded + self.merged
            and self.in_file == self.read + self.left_out
        )


@dataclass(frozen=True)
class Refusal:
    """One rule broken in one table: how many rows, and the first of them."""

    table: str
    column: str
    rule: str
    rows: int
    source_file: str
    source_row: int
    value: str


def _place(file: str, row: int, over: tuple[str, ...]) -> str:
    """Where a row stands; of what a SELECT makes of several rows, the files it draws on."""
    file = one_line(file)
    if not over:
        return f"{file}, row {row:,}"
    files = ", ".join(map(one_line, over[:3])) + (f" and {len(over) - 3:,} more" if len(over) > 3 else "")
    return f"row {row:,} of what {file} gives (from {files}; name source_file and source_row in it to see which row)"


@dataclass(frozen=True)
class Remark:
    """Accepted, but worth knowing: how many rows, a value where one tells more, the first place of how many files."""

    table: str
    remark: str
    value: str
    rows: int
    source_file: str = ""
    source_row: int = 0
    files: int = 0

    def __str__(self) -> str:
        more = f" ({counted(self.files, 'file')})" if self.files > 1 else ""
        value, file = f": {short(self.value)}" if self.value else "", one_line(self.source_file)
        if self.source_file and not self.source_row:
            # Said of whole files, not of rows.
            others = f" and {self.files - 1:,} more" if self.files > 1 else ""
            return f"{self.table}: {file}{others} {self.remark}{value}"
        place = f"; first in {file}, row {self.source_row:,}" if self.source_file else ""
        return f"{self.rows:>7,} × {self.table}: {self.remark}{place}{more}{value}"


def _more(kinds: int, most: int | None) -> list[str]:
    """What is said of the kinds that are not shown."""
    return (
        [f"  … and {counted(kinds - most, 'more kind')} (--all shows each)"]
        if most is not None and kinds > most
        else []
    )


@dataclass(frozen=True)
class LoadReport:
    """The result of a load: where the store is, each file's account, what was refused and why, what else was seen."""

    store: Path
    written: bool
    files: tuple[FileCount, ...]
    refusals: tuple[Refusal, ...]
    remarks: tuple[Remark, ...]
    seconds: float
    load_id: int
    selects: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """The files that each SELECT of the mapping draws on."""
    alarms: tuple[str, ...] = ()
    """What most likely went wrong as a whole, a line each: most rows of a file refused or withdrawn."""
    seen: Seen | None = None
    """What a look shows beside this."""

    def total(self, what: str) -> int:
        """The sum of one count (`read`, `accepted`, `refused`, `known`, `superseded`, `merged`, …) over all files."""
        return sum(int(getattr(f, what)) for f in self.files)

    def __str__(self) -> str:
        return self.text()

    def text(self, *, every_file: bool = False) -> str:
        """The report as it is printed; `every_file` lists unchanged files and every kind of refusal and remark, too."""
        most = None if every_file else SHOWN
        columns = {"read": 10, "accepted": 10, "refused": 8, "known": 10, "superseded": 10}
        sums_to = "read = accepted + refused + known + superseded"
        if self.total("merged"):
            columns["merged"] = 10
            sums_to += " + merged"
        if self.total("withdrawn"):
            columns["withdrawn"] = 10
        lines = [f"CAUTION: {one_line(said)}" for said in self.alarms] + [""] * bool(self.alarms)
        lines += [f"{'table':<12} {' '.join(f'{name:>{width}}' for name, width in columns.items())}  file"]
        for f in self.files:
            if f.unchanged and not every_file:
                continue
            said = "  (unchanged since it was loaded)" if f.unchanged else ""
            why = "left out by where, blank, or refused with another reading of the file"
            said += f"  ({counted(f.left_out, 'row')} {why})" if f.left_out else ""
            sums = " ".join(f"{getattr(f, name):>{width},}" for name, width in columns.items())
            lines.append(f"{f.table:<12} {sums}  {one_line(f.source_file)}{said}")
        same = [f for f in self.files if f.unchanged]
        if same and not every_file:
            selects = {f.source_file for f in same} & set(self.selects)
            names = counted(len({f.source_file for f in same} - selects), "file")
            names += f" and {counted(len(selects), 'SELECT')} of the mapping" if selects else ""
            rows = sum(f.read for f in same)
            lines.append(
                f"{'':<12} {rows:>10,} {plural(rows, 'row')} of {names} unchanged since loaded; not read again"
            )
        sums = " ".join(f"{self.total(name):>{width},}" for name, width in columns.items())
        lines.append(f"{'all':<12} {sums}  {sums_to}: every row accounted for")
        if also := changed_in_store(self.total("replaced"), self.total("withdrawn")):
            lines.append(also)
        for m in self.remarks:
            if m.remark == NO_UNIT_TWICE:
                said = f"CAUTION: {m.remark} ({counted(m.rows, 'job')}), so come-backs cannot be told."
                lines += ["", said, NO_UNIT_TWICE_NEXT]
        if self.refusals:
            again = "load again; table `refused` holds every one" if self.written else "inspect again"
            lines += ["", f"Refused (mend the source or the mapping, then {again}):"]
            for r in self.refusals[:most]:
                shown = "" if r.value == "" else f" {told(r.value)}"
                lines.append(
                    f"  {r.rows:>7,} × {r.table}.{r.column or '(row)'}: {r.rule}; "
                    f"first{shown} in {_place(r.source_file, r.source_row, self.selects.get(r.source_file, ()))}"
                )
            lines += _more(len(self.refusals), most)
        others = [m for m in self.remarks if m.remark != NO_UNIT_TWICE]
        if others:
            lines += ["", "Accepted with warnings:", *(f"  {m}" for m in others[:most]), *_more(len(others), most)]
        lines += [
            "",
            f"{'Stored in' if self.written else 'Nothing written; would go to'} {self.store} ({self.seconds:.1f} s)",
        ]
        return "\n".join(lines)
