"""What a file is by its first bytes, whatever its name says: a wrong name or encoding is told before rows are read."""

import codecs
import json
import re
import struct
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path

from rqa.errors import SourceError
from rqa.intake.formats import Format
from rqa.intake.sources import SourceFile, pieces

HEAD = 1 << 16
MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)
"""The byte-order marks by which such text is known; those of four bytes come first, as one begins like one of two."""
TEXTS: tuple[Format, ...] = ("csv", "jsonl", "json", "xes")
"""Formats that are text."""
MANY_NULS = 0.2
"""Share of zero bytes from which on text counts as UTF-16; Latin letters in UTF-16 have half, plain text has none."""
ARRAY = "one JSON array"
READ_AS: dict[Format, str] = {
    "csv": "CSV", "jsonl": "JSON Lines", "json": "JSON", "xes": "XES",
    "excel": "a workbook", "parquet": "Parquet", "sqlite": "SQLite",
}


@dataclass(frozen=True)
class FileKind:
    """A kind of file that is known by its first bytes: what it is, the format that reads it, what to do with it."""

    what: str
    format: Format | None
    advice: str


BOOK = "Rename it to end in {ending}, or set format = 'excel' for files.{name}."
EXCEL = FileKind("an Excel workbook", "excel", BOOK.replace("{ending}", ".xlsx"))
OLD_EXCEL = FileKind("an Excel workbook of the old kind", "excel", BOOK.replace("{ending}", ".xls"))
OPEN_DOCUMENT = FileKind("an OpenDocument spreadsheet", "excel", BOOK.replace("{ending}", ".ods"))
ZIP = FileKind("a zip archive", None, "Unpack it, and name the file inside.")
GZIP = FileKind("packed with gzip", None, "Rename it to end in .gz (CSV and JSON Lines are read packed), or unpack it.")
SQLITE = FileKind("an SQLite database", "sqlite", "Set format = 'sqlite' and table for files.{name}.")
PARQUET = FileKind(
    "a Parquet file", "parquet", "Rename it to end in .parquet, or set format = 'parquet' for files.{name}."
)
PDF = FileKind("a PDF", None, "Export the table as CSV or as a workbook.")
HTML = FileKind("a web page", None, "Open it in a spreadsheet program and save it as .xlsx, or export it as CSV.")
TEXT = FileKind("text", "csv", "If it is CSV, set format = 'csv' for files.{name}; else fetch it again.")
BEGINNINGS: tuple[tuple[bytes, FileKind], ...] = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", OLD_EXCEL), (b"\x1f\x8b", GZIP), (b"SQLite format 3\x00", SQLITE),
    (b"PAR1", PARQUET), (b"%PDF-", PDF),
)


LIKE_TEXT = (PARQUET, PDF)
"""Kinds whose beginning is made of letters, so that a column of a text file may be called like it."""
MARK_ALONE = re.compile(rb"(PAR1|%PDF-\d\.\d)\s*(?:[\r\n]|$)")


def _is_text(head: bytes) -> bool:
    """Whether what begins like a Parquet file or a PDF is text all the same: no zero byte, more on its first line."""
    return b"\x00" not in head and not MARK_ALONE.match(head)


def recognised(source: SourceFile) -> SourceFile:
    """The file with the encoding that its byte-order mark tells, where the mapping names none.

    Raises `SourceError` when its content is of another kind than it is to be read as, or in another encoding.
    """
    lines = source.format in TEXTS
    head = next(pieces(source), b"")[:HEAD] if lines else _raw_head(source)
    if not head:
        if lines:
            return source
        raise SourceError(f"{source.label}: is empty (0 bytes). Fetch it again. Nothing was loaded.")
    kind = _kind(source, head)
    if kind is not None and (kind.format != source.format or lines):
        said = f"this is {kind.what}, not {READ_AS[source.format]}"
        advice = kind.advice.format(name=source.name)
        raise SourceError(f"{source.label}: {said}. {advice} Nothing was loaded.")
    return _in_its_encoding(source, head) if lines else source


def _raw_head(source: SourceFile) -> bytes:
    try:
        with source.path.open("rb") as stream:
            return stream.read(HEAD)
    except OSError as error:
        raise SourceError(f"{source.label}: cannot be read: {error.strerror}. Nothing was loaded.") from error


def _kind(source: SourceFile, head: bytes) -> FileKind | None:
    for beginning, kind in BEGINNINGS:
        if head.startswith(beginning) and (kind not in LIKE_TEXT or not _is_text(head)):
            return kind
    if head.startswith(b"PK\x03\x04"):
        return _zipped(source)
    begins = head.removeprefix(codecs.BOM_UTF8).lstrip()[:15].lower()
    if begins.startswith((b"<!doctype html", b"<html")):
        return HTML
    if source.format not in TEXTS and b"\x00" not in head:
        return TEXT
    return None


def names_in_zip(path: Path) -> list[str] | None:
    """The names of what is packed in a zip archive, as workbooks are; None where it is damaged or cut short."""
    try:
        with zipfile.ZipFile(path) as archive:
            return archive.namelist()
    except (OSError, zipfile.BadZipFile, NotImplementedError, ValueError, struct.error):
        return None


def _zipped(source: SourceFile) -> FileKind:
    names = names_in_zip(source.path)
    if names is None:
        # The reader of workbooks says so.
        return EXCEL
    if any(n.startswith("xl/") for n in names):
        return EXCEL
    return OPEN_DOCUMENT if "content.xml" in names else ZIP


def _in_its_encoding(source: SourceFile, head: bytes) -> SourceFile:
    said = codecs.lookup(source.spec.encoding).name
    wide = said.startswith(("utf-16", "utf-32"))
    for mark, encoding in MARKS:
        if head.startswith(mark):
            _check_mark(source, mark, head[len(mark) :])
            if said.startswith(encoding):
                return source
            if "encoding" not in source.spec.model_fields_set:
                return replace(source, spec=source.spec.model_copy(update={"encoding": encoding}))
            raise SourceError(_other_encoding(source, encoding, "its first bytes are the mark of that"))
    if not wide and head.count(0) > MANY_NULS * len(head):
        guess = "utf-16-le" if head[1::2].count(0) >= head[::2].count(0) else "utf-16-be"
        raise SourceError(_other_encoding(source, guess, "every other byte is 0"))
    return source


def _check_mark(source: SourceFile, mark: bytes, text: bytes) -> None:
    """Raise `SourceError` for UTF-16 whose mark names the other order of bytes than its text has."""
    first, second = text[::2].count(0), text[1::2].count(0)
    said, found = ("le", "be") if mark == codecs.BOM_UTF16_LE else ("be", "le")
    wrong, right = (first, second) if said == "le" else (second, first)
    own_word = codecs.lookup(source.spec.encoding).name == f"utf-16-{found}"
    if mark in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) and wrong > MANY_NULS * len(text) > right and not own_word:
        raise SourceError(
            f"{source.label}: its first bytes say UTF-16-{said.upper()}, and its text is UTF-16-{found.upper()}. Set "
            f"encoding = 'utf-16-{found}' for files.{source.name}. Nothing was loaded."
        )


def _other_encoding(source: SourceFile, encoding: str, why: str) -> str:
    return (
        f"{source.label}: this looks like {encoding.upper()} text ({why}), not {source.spec.encoding}. "
        f"Set encoding = '{encoding}' for files.{source.name}. Nothing was loaded."
    )


def check_json_lines(source: SourceFile) -> None:
    """Raise `SourceError` for JSON that is not one object a line: one array, or objects that run over several lines."""
    text = next(pieces(source), b"").decode("utf-8-sig", "replace").lstrip()
    if not text.startswith(("[", "{")):
        return
    first = text.split("\n", 1)[0].strip()
    if (value := _json(first)) is not None:
        found = isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)
        what = ARRAY if found else ""
    elif first in ("[", "{") or _runs_over_lines(text):
        what = ARRAY if text.startswith("[") else "JSON whose objects run over several lines"
    else:
        what = ""
    if what:
        advice = "Export it as JSON Lines"
        if what == ARRAY:
            advice = f"Rename it to end in .json, or set format = 'json' for files.{source.name}"
        raise SourceError(
            f"{source.label}: this is {what}, not JSON Lines (one object on each line). {advice}. Nothing was loaded."
        )


def _json(text: str) -> object:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def _runs_over_lines(text: str) -> bool:
    """Whether the first JSON value of a text ends on a later line than it begins on."""
    try:
        _, end = json.JSONDecoder().raw_decode(text)
    except (ValueError, RecursionError):
        return False
    return "\n" in text[:end]
