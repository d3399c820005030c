"""The text of `rqa inspect`: the report first, then what is short, and the first rows last."""

import textwrap
from collections.abc import Iterable, Sequence

from rqa.shown import one_line, told
from rqa.store.report import LoadReport
from rqa.store.seen import STORED, Seen, SeenColumn, SeenLink, SeenRows, SeenWord
from rqa.words import counted, listed, percent

NARROWEST, WIDEST = 80, 120
CELL = 12
"""Signs of a cell that are shown at least; where they have no room, fewer rows are shown."""
MOST_NAMED = 20


def inspected_text(report: LoadReport, *, every_file: bool, width: int) -> str:
    """The report with what is seen beside it."""
    text = report.text(every_file=every_file)
    if report.seen is None:
        return text
    width = min(max(width, NARROWEST), WIDEST)
    body, _, end = text.rpartition("\n\n")
    parts = [body, *(p for p in (part(report.seen, width) for part in (_words, _links, _topics, _rows)) if p), end]
    return "\n\n".join(parts)


def _wrapped(text: str, width: int, indent: str = "  ", more: str = "    ") -> str:
    return textwrap.fill(text, width, initial_indent=indent, subsequent_indent=more, break_long_words=False,
                         break_on_hyphens=False)


def _words(seen: Seen, width: int) -> str:
    """Each column of codes with its words: first those without a code, then the others by their rows."""
    of_column: dict[tuple[str, str, str], list[SeenWord]] = {}
    for word in seen.words:
        of_column.setdefault((word.place, word.column, word.origin), []).append(word)
    lines = []
    for (place, column, origin), words in of_column.items():
        without = [f"{told(w.word)} ({w.rows:,})" for w in words if not w.code]
        given = [f"{one_line(w.word)} → {w.code} ({w.rows:,})" if w.word.lower() != w.code
                 else f"{w.code} ({w.rows:,})" for w in words if w.code]
        said = [f"NO CODE, so refused: {', '.join(without)}"] if without else []
        said += [", ".join(given)] if given else []
        lines.append(_wrapped(f"{place} {column}, from {one_line(origin)}: {'; '.join(said)}", width))
    return "\n".join(["Words of a status, with the rows that have each:", *lines]) if lines else ""


def _links(seen: Seen, width: int) -> str:
    units, lines = seen.units, list[str]()
    if units.jobs:
        lines.append(
            f"jobs: {counted(units.jobs, 'job')} of {counted(units.units, 'unit')}; "
            f"{counted(units.repeated_units, 'unit came', 'units came')} more than once "
            f"({counted(units.repeated_jobs, 'job')}, {percent(units.repeated_jobs / units.jobs)})"
        )
    lines += [_link(link) for link in seen.links]
    lines += [
        f"{f.table}: {f.what} make {counted(f.ids, 'id')} differ from those of jobs: {told(f.example)} and "
        f"{told(f.job_example)}. Without them {counted(f.rows, 'more row has', 'more rows have')} a job."
        for f in seen.forms
    ]
    return "\n".join(["Linked:", *(_wrapped(line, width) for line in lines)]) if lines else ""


def _link(link: SeenLink) -> str:
    said = (f"{link.table}: {link.linked:,} of {counted(link.rows, 'row')} have their job "
            f"({percent(link.linked / link.rows)})")
    lost = link.ids - link.linked_ids
    if not lost:
        return said
    ids = f"{lost:,} of {counted(link.ids, 'id')} {'is' if lost == 1 else 'are'} of no job"
    return f"{said}; {ids}, such as {told(link.example)}"


def _topics(seen: Seen, width: int) -> str:
    if not seen.topics:
        return ""
    can = [t.name for t in seen.topics if not t.said]
    why: dict[str, list[str]] = {}
    for t in seen.topics:
        if t.said:
            why.setdefault(t.said, []).append(t.name)
    lines = [_wrapped(f"Can be told with this mapping: {', '.join(can) or 'nothing yet'}", width, "", "  ")]
    if why:
        lines += ["Cannot be told:", *(_wrapped(f"{listed(names)}: {said}", width) for said, names in why.items())]
    if seen.next_line:
        lines += ["", _wrapped(f"Next line to add, for most gain: {one_line(seen.next_line)}", width, "", "  ")]
    return "\n".join(lines)


def _rows(seen: Seen, width: int) -> str:
    if not seen.rows:
        return ""
    head = ("First rows, as they will be stored (times in UTC). Where a stored value differs from the cell of the "
            "source, it stands below it, behind >.")
    return "\n\n".join([_wrapped(head, width, "", ""), *(_table(r, width) for r in seen.rows)])


def _table(seen: SeenRows, width: int) -> str:
    """The first rows of one table side by side, a line a column, or two where the stored value differs."""
    names = max([len(c.name) for c in seen.columns] + [6])
    origins = min(max([len(one_line(c.origin)) for c in seen.columns] + [4]), 18)
    room = width - 2 - names - origins - 4
    shown = max(1, min(len(seen.rows), (room + 2) // (CELL + 2)))
    cell = min(max(CELL, (room + 2) // shown - 2), 40)
    lines = [f"{seen.table}: {seen.place}, {one_line(seen.file)}"]
    heads = [f"row {row:,}" for row in seen.rows[:shown]]
    lines.append(_line("column", "from", heads, names, origins, cell))
    for column in seen.columns:
        lines += _column(column, shown, names, origins, cell)
    states = [s for s in seen.states[:shown] if s != STORED]
    lines += [_wrapped(f"row {row:,} is not stored: {one_line(state)}", width)
              for row, state in zip(seen.rows[:shown], seen.states, strict=False) if states and state != STORED]
    if seen.hidden:
        lines.append(_wrapped("Cells of the source and texts are not shown, as the mapping makes pseudonyms.", width))
    lines += _named("Columns of the file that are not used", seen.unused, width)
    lines += _named("Columns of the contract that nothing gives", seen.absent, width)
    return "\n".join(lines)


def _named(what: str, names: Sequence[str], width: int) -> list[str]:
    if not names:
        return []
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return [_wrapped(f"{what}: {', '.join(map(one_line, names[:MOST_NAMED]))}{more}", width)]


def _column(column: SeenColumn, shown: int, names: int, origins: int, cell: int) -> list[str]:
    source, stored = column.source[:shown], column.stored[:shown]
    if not any(source):
        return [_line(column.name, column.origin, stored, names, origins, cell)]
    lines = [_line(column.name, column.origin, source, names, origins, cell)]
    if source != stored:
        changed = [f"> {after}" if after != before else "" for before, after in zip(source, stored, strict=True)]
        changed = [c if c != "> " else "> (missing)" for c in changed]
        lines.append(_line("", "", changed, names, origins, cell))
    return lines


def _line(name: str, origin: str, cells: Iterable[str], names: int, origins: int, cell: int) -> str:
    parts = [f"{name:<{names}}", f"{_cut(origin, origins):<{origins}}", *(f"{_cut(c, cell):<{cell}}" for c in cells)]
    return f"  {'  '.join(parts)}".rstrip()


def _cut(text: str, most: int) -> str:
    text = one_line(text)
    return text if len(text) <= most else f"{text[: most - 1]}…"
