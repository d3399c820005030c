"""How one file is laid out, from its bytes: format, encoding, delimiter, and the row that names the columns."""

import codecs
import csv
import gzip
import io
import re
import sqlite3
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from rqa.intake.contents import BEGINNINGS, HTML, LIKE_TEXT, MARKS, PDF, TEXTS, names_in_zip
from rqa.intake.formats import Format, format_of
from rqa.intake.mapping import Files
from rqa.intake.quotes import opened
from rqa.intake.sources import DELIMITERS, MOST_COLUMNS, PIECE, SourceFile, named_by_two
from rqa.proposals.vocabulary import folded, vocabulary
from rqa.shown import told
from rqa.store.readers import tables_of
from rqa.words import counted, percent

HEADER_BYTES = 1 << 13
"""Bytes of lines beyond ASCII whose words are looked up, where two encodings read as well."""
HEAD_BYTES = 1 << 18
"""Bytes of a file from which its delimiter and header are told."""
LOOKED_AT = 200
"""Records of a file from which its delimiter and header are told."""
TITLE_ROWS = 40
"""Rows in which a header is looked for."""
WIDTH_SHARE = 0.6
"""A header fills at least this share of the usual number of cells."""
LABELS = 0.8
"""Share of a header's cells that are labels, and no values."""
ONE_BYTE = ("cp1252", "cp1250")
"""Encodings of one byte a sign that are tried where a text is not UTF-8, the most usual first."""
UNREADABLE = 1 << 60
VALUE = re.compile(r"[\d.,:;/+\-\sTZ€$£%]+")
"""A cell that is a number, a day or a time."""
READ_FROM = {"excel": "workbook", "sqlite": "database"}


class NotReadError(Exception):
    """Why a file is not read, and what to do."""


@dataclass(frozen=True)
class Layout:
    """How a file, a sheet or a table of a database is read: settings of `[files.…]`, each with why, and its columns.

    `part` names the sheet or the table, `number` tells which sheet it is, counted from 0. `ascii_only` says that the
    file would be the same in any usual encoding. `nested` are the columns that reach into objects.
    """

    path: Path
    format: Format
    columns: tuple[str, ...]
    settings: dict[str, Any] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    part: str = ""
    ascii_only: bool = False
    nested: tuple[str, ...] = ()
    number: int | None = None

    def source(self, name: str, label: str) -> SourceFile:
        """The file as the intake takes it."""
        return SourceFile(name, self.path, self.format, Files(path=[label], **self.settings), label,
                          all_of_set=(self.path,))


def text_pieces(path: Path) -> Iterator[bytes]:
    """The bytes of a text file, unpacked."""
    try:
        with opened(path) as stream:
            while piece := stream.read(PIECE):
                yield piece
    except (OSError, EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise NotReadError(f"cannot be read to its end ({error}); fetch it again") from error


def kind_of(path: Path) -> tuple[Format, bool]:
    """The format of a file, and whether its name tells it; raises `NotReadError` where it is none that is read."""
    said = format_of(path)
    with path.open("rb") as stream:
        raw = stream.read(1 << 16)
    if not raw:
        raise NotReadError("is empty (0 bytes)")
    if raw.startswith(b"\x1f\x8b") and path.suffix.lower() != ".gz":
        raise NotReadError("is packed with gzip: rename it to end in .gz, or unpack it")
    if path.suffix.lower() == ".gz":
        raw = next(text_pieces(path), b"")[: 1 << 16]
    for beginning, kind in BEGINNINGS:
        if raw.startswith(beginning) and not (kind in LIKE_TEXT and b"\x00" not in raw and said == "csv"):
            if kind.format is None or kind is PDF:
                raise NotReadError(f"is {kind.what}. {kind.advice.format(name='…', ending='.xls')}")
            return kind.format, said == kind.format
    if raw.startswith(b"PK\x03\x04"):
        return _of_zip(path), said == "excel"
    begins = raw.removeprefix(codecs.BOM_UTF8).lstrip()[:15].lower()
    if begins.startswith((b"<!doctype html", b"<html")):
        raise NotReadError(f"is {HTML.what}. {HTML.advice}")
    if begins.startswith((b"<?xml", b"<log")) and (said == "xes" or re.search(rb"<(?:\w+:)?log[\s>]", raw)):
        return "xes", said == "xes"
    if begins.startswith(b"<?xml"):
        raise NotReadError("is XML, which is not read: export it as CSV or as a workbook")
    wide = any(raw.startswith(mark) for mark, _ in MARKS) or (
        len(raw) > 20 and max(raw[::2].count(0), raw[1::2].count(0)) > 0.3 * len(raw)
    )
    controls = sum(raw.count(bytes([c])) for c in (*range(9), 14, 15, 16, 17, 18, 19, 20))
    if not wide and controls > len(raw) / 200:
        raise NotReadError("is no table: its bytes are neither text nor a kind of file that is read")
    if said in TEXTS and said is not None:
        return said, True
    if begins.startswith((b"{", b"[")):
        return "jsonl", False
    if said is not None:
        raise NotReadError(f"is text, though its name says {READ_FROM.get(said, said)}; rename it, or fetch it again")
    return "csv", False


def _of_zip(path: Path) -> Format:
    names = names_in_zip(path)
    if names is None:
        raise NotReadError("is a damaged workbook or zip archive; fetch it again")
    if any(n.startswith("xl/") for n in names) or "content.xml" in names:
        return "excel"
    raise NotReadError(f"is a zip archive of {counted(len(names), 'file')}: unpack it here, and run this again")


def text_layout(path: Path, *, named: bool) -> Layout:
    """The layout of delimited text."""
    encoding, why, ascii_only = _encoding(path)
    text = head_text(path, encoding)
    best = max((_cut(text, sign) for sign in DELIMITERS), key=lambda cut: cut.score)
    if not best.records:
        raise NotReadError("holds nothing but blank lines")
    found = header_of([cells for _, cells in best.records])
    settings: dict[str, Any] = {} if named else {"format": "csv"}
    reasons = {} if named else {"format": "the ending of the name does not tell it; the content is text"}
    if encoding != "utf-8":
        settings["encoding"], reasons["encoding"] = encoding, why
    if best.delimiter != ",":
        settings["delimiter"] = best.delimiter
        fit, many = percent(best.fit, decimals=0), counted(len(best.records), "record")
        reasons["delimiter"] = f"{fit} of {many} then have {counted(best.width, 'field')}"
    return _with_header(
        Layout(path, "csv", (), settings, reasons, ascii_only=ascii_only), found,
        [cells for _, cells in best.records], [line for line, _ in best.records],
    )


def sheet_layout(path: Path, sheet: str, rows: Sequence[Sequence[str | None]], *, named: bool) -> Layout:
    """The layout of one sheet of a workbook, from its first rows."""
    cells = [[c or "" for c in row] for row in rows]
    filled = [i for i, row in enumerate(cells) if any(c.strip() for c in row)]
    if not filled:
        raise NotReadError("is empty")
    found = header_of([cells[i] for i in filled])
    settings: dict[str, Any] = {"sheet": sheet} if named else {"format": "excel", "sheet": sheet}
    return _with_header(
        Layout(path, "excel", (), settings, {}, part=sheet), found, [cells[i] for i in filled], [i + 1 for i in filled],
    )


def _with_header(
    made: Layout, header: int | None, records: Sequence[Sequence[str]], lines: Sequence[int]
) -> Layout:
    """A layout with the columns that its header names; `header` counts the records from 0, None: there is none."""
    settings, why = dict(made.settings), dict(made.why)
    if header is None:
        columns = [str(i) for i in range(1, len(records[0]) + 1)]
        settings["header_row"] = 0
        why["header_row"] = "the first row looks like values; columns are numbered: name them with header = […]"
    else:
        two = _grouped_names(records, lines, header)
        if two is not None:
            header, columns = two
            settings["header_rows"] = 2
            why["header_rows"] = "names stand more than once in one row alone; those above them tell them apart"
        else:
            columns = [c.strip() or f"column_{i}" for i, c in enumerate(records[header], 1)]
        if header > 0:
            settings["header_row"] = lines[header]
            why["header_row"] = f"above it: {counted(header, 'row')} of something else"
    if len(columns) > MOST_COLUMNS:
        many = counted(len(columns), "column")
        raise NotReadError(f"has {many}, and {MOST_COLUMNS} are read at most: export those needed")
    twice = next((c for c, n in Counter(c.lower() for c in columns).items() if n > 1), None)
    if twice is not None:
        raise NotReadError(f"names a column {told(twice)} more than once (small and capital letters count as the "
                           "same): rename one in the export")
    return Layout(made.path, made.format, tuple(columns), settings, why, made.part, made.ascii_only)


def _grouped_names(
    records: Sequence[Sequence[str]], lines: Sequence[int], header: int
) -> tuple[int, list[str]] | None:
    """The upper one of two rows that name the columns together, and the names; None where one row does."""
    if not _twice(records[header]):
        return None
    for upper in (header - 1, header):
        if upper < 0 or upper + 1 >= len(records) or lines[upper + 1] != lines[upper] + 1:
            continue
        above, below = ([c.strip() for c in records[at]] for at in (upper, upper + 1))
        labels = [c for c in (*above, *below) if c]
        names = named_by_two(above, below)
        if sum(map(bool, above)) > 1 and all(map(_is_label, labels)) and not _twice(names):
            return upper, [n or f"column_{i}" for i, n in enumerate(names, 1)]
    return None


def _twice(names: Sequence[str]) -> bool:
    given = [n.strip().lower() for n in names if n.strip()]
    return len(set(given)) < len(given)


def header_of(records: Sequence[Sequence[str]]) -> int | None:
    """Which of the records names the columns, counted from 0; None where none does, as the first is a row of values."""
    widths = [sum(1 for c in row if c.strip()) for row in records]
    usual = sorted(widths[:LOOKED_AT])[len(widths[:LOOKED_AT]) // 2]
    for i, row in enumerate(records[:TITLE_ROWS]):
        cells = [c.strip() for c in row if c.strip()]
        if len(cells) < max(1 if usual < 2 else 2, WIDTH_SHARE * usual):
            continue
        labels = sum(_is_label(c) for c in cells)
        if labels < LABELS * len(cells):
            return None if i == 0 or not _titles(records[:i], usual) else i if labels > 0.5 * len(cells) else None
        below = records[i + 1 : i + 1 + LOOKED_AT]
        if below and _is_like(row, below):
            return None
        return i
    return 0


def _titles(above: Sequence[Sequence[str]], usual: int) -> bool:
    return all(sum(1 for c in row if c.strip()) < WIDTH_SHARE * usual for row in above)


def _is_label(cell: str) -> bool:
    """Whether a cell names something, rather than being a value: it has letters, and not mostly digits."""
    digits = sum(c.isdigit() for c in cell)
    return len(cell) <= 80 and not VALUE.fullmatch(cell) and digits <= 0.5 * len(cell)


def _is_like(row: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """Whether the cells of a row stand again below them, as values do and names of columns do not."""
    again = sum(
        1 for i, cell in enumerate(row)
        if cell.strip() and any(len(other) > i and other[i].strip() == cell.strip() for other in below)
    )
    return again >= max(1, 0.25 * sum(1 for c in row if c.strip()))


@dataclass(frozen=True)
class _Cut:
    delimiter: str
    records: list[tuple[int, list[str]]]
    width: int
    fit: float

    @property
    def score(self) -> float:
        return self.fit * (self.width - 1) ** 0.5


def _cut(text: str, delimiter: str) -> _Cut:
    """The first records of a text when it is cut at a sign."""
    records: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    line = 1
    try:
        for cells in islice(reader, LOOKED_AT):
            if any(c.strip() for c in cells):
                records.append((line, cells))
            line = reader.line_num + 1
    except csv.Error:
        pass
    if not records:
        return _Cut(delimiter, [], 1, 0.0)
    widths = Counter(len(cells) for _, cells in records)
    width, many = max(widths.items(), key=lambda item: (item[1] * (item[0] > 1), item[0]))
    return _Cut(delimiter, records, width, many / len(records))


def head_text(path: Path, encoding: str) -> str:
    """The beginning of a text file, unpacked, to the end of a line."""
    held = b""
    for piece in text_pieces(path):
        held += piece
        if len(held) >= HEAD_BYTES:
            break
    codec = "utf-8-sig" if encoding == "utf-8" else encoding
    text = codecs.getincrementaldecoder(codec)("replace").decode(held[:HEAD_BYTES]).lstrip("\ufeff")
    if len(held) > HEAD_BYTES:
        text = text[: text.rfind("\n") + 1] or text
    return text


def _encoding(path: Path) -> tuple[str, str, bool]:
    """The encoding of a text, why, and whether it is ASCII alone; all of the file is read."""
    decoder, seen, plain, whole = codecs.getincrementaldecoder("utf-8-sig")(), b"", True, True
    for number, piece in enumerate(text_pieces(path)):
        if number == 0:
            for mark, encoding in MARKS:
                if piece.startswith(mark):
                    return encoding, "its first bytes are the mark of it", False
            if len(piece) > 20 and max(piece[::2].count(0), piece[1::2].count(0)) > 0.3 * len(piece):
                order = "le" if piece[1::2].count(0) >= piece[::2].count(0) else "be"
                return f"utf-16-{order}", "every other byte is 0", False
        if not piece.isascii():
            plain = False
            lines = [line for line in piece.split(b"\n") if not line.isascii()]
            seen += b"\n".join(lines)[: max(0, HEAD_BYTES - len(seen))]
            if whole:
                try:
                    decoder.decode(piece)
                except UnicodeDecodeError:
                    whole = False
        elif whole:
            try:
                decoder.decode(piece)
            except UnicodeDecodeError:
                whole = False
    if plain or whole:
        return "utf-8", "", plain
    odd = {encoding: _odd(seen, encoding) for encoding in ONE_BYTE}
    best = min(ONE_BYTE, key=lambda e: (odd[e], -_known_words(seen, e) if odd[e] < UNREADABLE else 0))
    if odd[best] == UNREADABLE:
        best = "latin-1"
    return best, "it is not UTF-8, and letters of words are letters when it is read so", False


def _odd(seen: bytes, encoding: str) -> int:
    """How many signs between two letters are no letters when bytes are read in this encoding."""
    try:
        text = seen.decode(encoding)
    except UnicodeDecodeError:
        return UNREADABLE
    return sum(
        1 for i in range(1, len(text) - 1)
        if text[i] > "\x7f" and not text[i].isalpha() and text[i - 1].isalpha() and text[i + 1].isalpha()
    )


def _known_words(seen: bytes, encoding: str) -> int:
    """How many words with letters beyond ASCII are known ones when the first bytes are read in this encoding."""
    words = {w for w in re.findall(r"[^\W\d_]+", seen[:HEADER_BYTES].decode(encoding, "replace")) if not w.isascii()}
    return sum(folded(w) in vocabulary().words for w in words)


def database_layouts(path: Path, *, named: bool) -> list[Layout]:
    """The layout of each table and view of an SQLite database."""
    try:
        made = [
            Layout(path, "sqlite", columns, ({} if named else {"format": "sqlite"}) | {"table": table}, {}, part=table)
            for table, columns in tables_of(path).items()
        ]
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise NotReadError(f"is no readable SQLite database ({error})") from error
    if not made:
        raise NotReadError("is a database without tables")
    return made


def parquet_layout(path: Path, *, named: bool) -> Layout:
    """The layout of a Parquet file."""
    import pyarrow.parquet as pq

    try:
        schema = pq.read_schema(path)
    except Exception as error:
        raise NotReadError(f"is no readable Parquet file ({str(error).splitlines()[0]})") from error
    settings = {} if named else {"format": "parquet"}
    return Layout(path, "parquet", tuple(schema.names), dict(settings), {})
