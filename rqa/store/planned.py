"""What a load is to read: each source once per table entry that it feeds, planned before any row is read."""

import hashlib
from collections.abc import Callable, Collection, Sequence
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rqa.intake.draft import Draft
from rqa.intake.entries import Entry, entry_of
from rqa.intake.faults import Faults
from rqa.intake.mapping import ONE_JOB, Mapping
from rqa.intake.pseudonyms import key_faults
from rqa.intake.sealed import sealing_of
from rqa.intake.sources import SourceFile, files_of

SELECT = "select "
"""How the name of a reading by a SELECT begins."""


@dataclass
class Plan:
    """One source for one entry, read for reading."""

    entry: Entry
    label: str
    digest: str
    fingerprint: str
    source: SourceFile | None
    named: list[SourceFile]
    size: int
    sets: tuple[str, ...] = ()
    """The named sets of files that its SELECT draws on."""
    beside: frozenset[str] = frozenset()
    """Those of its sets whose records that are no rows are counted with another entry."""

    @property
    def unsent(self) -> list[str]:
        """Those of its sets that have no file yet."""
        return [n for n in self.sets if n not in {f.name for f in self.named}]

    @property
    def sources(self) -> list[SourceFile]:
        """The files it reads."""
        return [self.source] if self.source else self.named

    @property
    def labels(self) -> list[str]:
        """The names that its rows can bear: its files', and its own."""
        return list(dict.fromkeys([*self.files, self.label]))

    @property
    def files(self) -> list[str]:
        """The names of the files it reads."""
        return [f.label for f in self.sources]


@dataclass(frozen=True)
class FileDigest:
    """A file as a load met it: its size in bytes, and the digest of its content."""

    size: int
    digest: str


def meet(file: SourceFile) -> FileDigest:
    """A file as it is. Its content is digested at every load: a size and times may stay the same when it changes."""
    return FileDigest(0, "") if file.format == "frame" else FileDigest(file.path.stat().st_size, file.digest())


def plan(
    made: Draft,
    workspace: Path,
    frames: MappingType[str, Any],
    loaded: Collection[str],
    faults: Faults,
) -> list[Plan]:
    """What there is to read, oldest first within each table entry.

    `loaded` are the names of all files that were ever loaded. What does not exist or does not fit goes to `faults`.
    """
    mapping = made.mapping
    sets: dict[str, list[SourceFile]] = {}
    met: dict[str, FileDigest] = {}
    unsure = set(made.unsure)
    seal: Callable[[str], str] | None = None
    with faults.gathered():
        sealing = sealing_of(mapping)
        seal = None if sealing is None else sealing.sealed
    for name, spec in mapping.files.items():
        sets[name] = []
        with faults.gathered():
            if spec.path or spec.format == "frame":
                sets[name] = files_of(name, spec, workspace, frames, mapping.workspace.outside, loaded)
        # What stands in a source may be a name as long as the mapping makes pseudonyms.
        keep = mapping.keeps_records or mapping.seals_records
        sets[name] = [replace(f, sealed=mapping.keyed, keep_records=keep, seal=seal) for f in sets[name]]
        for f in sets[name]:
            with faults.gathered():
                met[f.label] = meet(f)
        unsure |= {name} if any(f.label not in met for f in sets[name]) else set()
    read = {f.path for files in sets.values() for f in files if f.format != "frame"}
    faults.said += key_faults(mapping, workspace, read)
    items = []
    counted_with = _counted_with(mapping)
    for number, table in enumerate(mapping.table, 1):
        names = [n for n in sets if n in mapping.sets_of(table)]
        with faults.gathered():
            if number not in made.skipped:
                entry = entry_of(mapping, number, table)
                if not unsure & set(names):
                    beside = frozenset(n for n in names if counted_with.get(n, number) != number)
                    items += _readings(entry, mapping, {n: sets[n] for n in names}, met, beside)
    return items


def _counted_with(mapping: Mapping) -> dict[str, int]:
    """For each set of files that a [[table]] reads as it is, the first that does.

    A record that is no row belongs to its file, not to a table, so it is counted there alone.
    """
    found: dict[str, int] = {}
    for number, table in enumerate(mapping.table, 1):
        if table.from_ is not None:
            found.setdefault(table.from_, number)
    return found


def _readings(
    entry: Entry,
    mapping: Mapping,
    sets: MappingType[str, Sequence[SourceFile]],
    met: MappingType[str, FileDigest],
    beside: frozenset[str],
) -> list[Plan]:
    """What one entry reads: each of its files, or all at once for a SELECT."""
    files = [f for of_set in sets.values() for f in of_set]
    # Where another entry begins or ceases to count what is no row, the file is read again for this one, too.
    mark = " + ".join([entry.guard.mark(mapping.fingerprint(entry.spec)), *sorted(beside)])
    digests = [met[f.label].digest for f in files]
    if entry.spec.lines == ONE_JOB:
        # A job may have lines in several files, so none of them can be read without the others.
        of_all = "\n".join(f"{f.label} {digest}" for f, digest in zip(files, digests, strict=True))
        mark += f" + {hashlib.sha256(of_all.encode()).hexdigest()[:16]}"
    if entry.spec.from_ is not None:
        return [Plan(entry, f.label, met[f.label].digest, mark, f, [], met[f.label].size, beside=beside) for f in files]
    if not files:
        # Patterns may match nothing yet, and then nothing tells the columns that the SELECT draws on.
        return []
    together = "+".join(digests) if all(digests) else ""
    label = f"{SELECT}{entry.number} over {', '.join(dict.fromkeys(f.name for f in files))}"
    size = sum(met[f.label].size for f in files)
    return [Plan(entry, label, together, mark, None, files, size, tuple(sets), beside)]
