"""Source files: which files a mapping names, in order of age, with digests; their columns; how to read them as text.

Every reading gives text columns and nothing else, so that one set of rules judges all formats. Nothing here opens
the store; a reading is SQL for the engine, or Arrow data for it to scan.
"""

import codecs
import csv
import hashlib
import io
import itertools
import re
import zlib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rqa.errors import MappingError, SourceError
from rqa.intake.archives import format_in, is_archive
from rqa.intake.formats import Format, format_of
from rqa.intake.mapping import Files
from rqa.intake.paths import label, paths_of
from rqa.intake.quotes import opened
from rqa.words import counted

NATIVE_ENCODINGS = {"utf-8": "utf-8-sig", "utf8": "utf-8-sig", "utf-8-sig": "utf-8-sig", "ascii": "utf-8-sig"}
"""Encodings the engine reads itself, and the codec that reads them here (a leading byte-order mark is dropped)."""
DELIMITERS = ",;\t|"
WITH_HEADER = ("csv", "excel")
"""Formats whose columns are named by a row of the file, or by none."""
PIECE = 1 << 20
LINE_END = re.compile(r"\r\n|\r|\n")
SHOWN = 60
"""Characters of a file's beginning that are shown."""
MARKS = "\ufeff\ufffe"
"""A byte-order mark as text, and one whose bytes stand the other way round."""
MOST_COLUMNS = 500
"""Columns of one source; what is read takes longer than in step with their number."""
FRAME = "frame:"
"""How the name of a frame begins in reports."""


@dataclass(frozen=True)
class SourceFile:
    """One file of a named set: where it is, what it is called in reports, how it is to be read, what else is there.

    `sealed` says that names become pseudonyms, so that nothing of it may reach a disk or a message as it was read;
    `keep_records` that records of it that are no rows are kept whole; `seal` encrypts them then.
    """

    name: str
    path: Path
    format: Format
    spec: Files
    label: str
    frame: Any = None
    all_of_set: tuple[Path, ...] = ()
    sealed: bool = False
    keep_records: bool = True
    seal: Callable[[str], str] | None = None

    def kept(self, record: str | None) -> str | None:
        """What is kept of a record that is no row."""
        if record is None or not self.keep_records:
            return None
        return self.seal(record) if self.seal is not None else record

    def digest(self) -> str:
        """SHA-256 of the content; empty for a frame, which has no lasting identity."""
        if self.format == "frame":
            return ""
        try:
            with self.path.open("rb") as stream:
                return hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError as error:
            raise SourceError(f"{self.label}: cannot be read: {error.strerror}. Nothing was loaded.") from error


def files_of(
    name: str,
    spec: Files,
    workspace: Path,
    frames: MappingType[str, Any],
    outside: Sequence[str] = (),
    loaded: Collection[str] = (),
) -> list[SourceFile]:
    """The files of a named set, oldest first: in order of the patterns, then by name with numbers in their order.

    `outside` are the folders beyond the workspace that may be read, `loaded` the names of files that were loaded
    before: one that is gone since is no fault. Raises `MappingError` naming every plain path that does not exist or may
    not be read, and every ending that does not tell the format. It also names every wildcard that meets no file, unless
    the files are optional (a site that has sent nothing yet).
    """
    if spec.format == "frame":
        if name not in frames:
            raise MappingError(f"files.{name}: format is 'frame', but no frame of that name was handed to load()")
        return [SourceFile(name, workspace, "frame", spec, FRAME + name, frames[name])]
    found: list[Path] = []
    faults: list[str] = []
    for pattern in spec.path:
        met, wrong = paths_of(pattern, workspace, outside, loaded, optional=spec.optional)
        faults += [f"files.{name}.path: {w}" for w in wrong]
        found += [p for p in met if p not in found]
    formats = dict[Path, Format | None]()
    for path in found:
        try:
            formats[path] = spec.format or format_of(path) or (
                format_in(path, spec.member, label(path, workspace)) if is_archive(path) else None)
        except SourceError as error:
            faults.append(f"files.{name}: {str(error).removesuffix(' Nothing was loaded.')}")
    for path, form in formats.items():
        if form is None:
            faults.append(
                f"files.{name}: the ending of {path.name!r} does not tell its format; set format = 'csv' or another"
            )
        elif spec.header_row == 0 and form not in WITH_HEADER:
            faults.append(f"files.{name}.header_row: 0 is for CSV and workbooks; {path.name} names its columns itself")
    if faults:
        raise MappingError("\n".join(faults), faults)
    return [
        SourceFile(name, p, form, spec, label(p, workspace), all_of_set=tuple(found))
        for p, form in formats.items()
        if form is not None
    ]


@dataclass(frozen=True)
class ExpectedRecords:
    """What a look at a file's bytes says of its reading.

    How many records it must give: at most, or exactly, or as a slow count will say; -1 is not known. `plain` is true
    when the file holds ASCII alone and no tabs; `bare` when besides no field begins or ends with space of any kind, so
    that there is nothing to trim. `lines` is how many lines stand behind the header. Where there are as
    many records, each is a line; else `moves` tells how far records stand below where their place puts them.
    """

    at_most: int = -1
    exact: bool = False
    count: Callable[[], int] | None = None
    plain: bool = False
    bare: bool = False
    lines: int = -1
    moves: Callable[[], list[tuple[int, int]]] = list

    def short(self, given: int) -> bool:
        """Whether fewer records were given than there are."""
        if given >= self.at_most or (not self.exact and self.count is None):
            return False
        return self.exact or (self.count is not None and given < self.count())


@dataclass(frozen=True)
class TextSource:
    """A reading of one file: its columns, all text, as SQL to select from.

    `scan` is SQL for a FROM clause; `select` maps each column to SQL over it; `fault` is SQL that names what is
    wrong with a whole row, or NULL; `blank` is SQL that is true for lines that hold nothing;
    `whole` is SQL for the record as it stands, where the columns do not show all of it. `data` is registered
    with the engine under `data_name` first. `first_row` is the number of the first record as an editor shows it.
    `typed` says that the source has numbers and times of its own, `own_times` that it has times at least; `path` is the
    file the engine reads; `cut` are the records that were kept from it: (place among the records counted from 0, rule,
    value, raw); `due` is how many the engine must give of the rest. `elsewhere` tells whether another file of the set
    has a column that this one lacks.
    """

    columns: tuple[str, ...]
    scan: str
    select: MappingType[str, str]
    first_row: int = 1
    fault: str = "null"
    blank: str = "false"
    whole: str = "null"
    data: Any = None
    data_name: str = ""
    rejects: str = ""
    typed: bool = False
    own_times: bool = False
    path: Path | None = None
    delimiter: str = ""
    cut: list[tuple[int, str, str, str | None]] = field(default_factory=list)
    due: ExpectedRecords = field(default_factory=ExpectedRecords)
    elsewhere: Callable[[str], bool] = lambda name: False


def pieces(source: SourceFile) -> Iterator[bytes]:
    """The file's bytes, unpacked, in pieces; raises `SourceError` when it is cut short or cannot be read."""
    try:
        if source.path.suffix == ".gz" and not source.path.stat().st_size:
            raise EOFError("it has no bytes")
        with opened(source.path) as stream:
            while piece := stream.read(PIECE):
                yield piece
    except (OSError, EOFError, zlib.error) as error:
        raise SourceError(
            f"{source.label}: cannot be read to its end ({error}); it may be cut short or not what its ending says. "
            "Fetch it again. Nothing was loaded."
        ) from error


@dataclass(frozen=True)
class Header:
    """What a CSV file's first lines say: its columns, its delimiter, the line that names the columns (0: none does)."""

    columns: tuple[str, ...]
    delimiter: str
    line: int


def csv_header(source: SourceFile) -> Header:
    """Read the header of a CSV file; a file that holds nothing has no columns.

    Blank lines before the header are passed over. Raises `SourceError` when there is no line as far down as the
    mapping says that the header stands.
    """
    spec = source.spec
    lines = io.StringIO(_head_text(source), newline="")
    line, first = 1, lines.readline()
    while first and (line < spec.header_row or not first.strip()):
        line, first = line + 1, lines.readline()
    if not first:
        if lines.getvalue().strip():
            raise SourceError(
                f"{source.label}: header_row is {spec.header_row}, and nothing is written on that line or below. Set "
                f"header_row for files.{source.name} to the line that names the columns. Nothing was loaded."
            )
        return Header((), ",", spec.header_row)
    delimiter = spec.delimiter or max(DELIMITERS, key=first.count)
    begin = lines.tell() - len(first)
    lines.seek(begin)
    records = delimited(lines, delimiter, spec.quote)
    try:
        names = [n.strip() for n in next(records)]
        if spec.header_rows > 1:
            line += len(LINE_END.findall(lines.getvalue()[begin : lines.tell()]))
            names = named_by_two(names, [n.strip() for n in next(records, [])])
    except (csv.Error, TypeError) as error:
        raise SourceError(f"{source.label}: its header cannot be read: {error}") from error
    if spec.header_row == 0:
        return Header(tuple(spec.header or map(str, range(1, len(names) + 1))), delimiter, 0)
    return Header(tuple(n or f"column_{i}" for i, n in enumerate(names, 1)), delimiter, line)


def named_by_two(above: Sequence[str], below: Sequence[str]) -> list[str]:
    """The names of columns under a row that names groups of them: each group reaches to where the next one begins."""
    names, group = list[str](), ""
    for i, name in enumerate(below):
        group = above[i] if i < len(above) and above[i] else group
        names.append(" ".join(dict.fromkeys(filter(None, (group, name)))))
    return names


def check_few_columns(source: SourceFile, number: int) -> None:
    """Raise `SourceError` for a source of more columns than are read."""
    if number > MOST_COLUMNS:
        what = "keys in its first objects" if source.format == "jsonl" else "columns"
        raise SourceError(
            f"{source.label}: has {number:,} {what}, and {MOST_COLUMNS} are read at most. See whether the format, the "
            f"delimiter and the header of files.{source.name} are right, or export the needed columns alone. "
            "Nothing was loaded."
        )


def delimited(lines: Iterable[str], delimiter: str, quote: str) -> Iterator[list[str]]:
    """The records of CSV text, each as its fields."""
    if quote:
        return csv.reader(lines, delimiter=delimiter, quotechar=quote)
    return csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_NONE)


def delimiter_doubt(text: TextSource, label: str) -> str:
    """What to say of a CSV whose columns are most likely cut in the wrong places; nothing where they seem right."""
    others = {sign: sum(c.count(sign) for c in text.columns) for sign in DELIMITERS if sign != text.delimiter}
    likely = max(others, key=lambda sign: others[sign])
    alone = len(text.columns) == 1
    if not text.delimiter or (others[likely] < len(text.columns) and not (alone and len(text.columns[0]) > SHOWN)):
        return ""
    many = "only one column" if alone else counted(len(text.columns), "column")
    said = f"{label} has {many}, {text.columns[0][:SHOWN]!r}, when cut at {text.delimiter!r}"
    if others[likely]:
        return f"{said}; is the delimiter {likely!r}? Set delimiter = {likely!r} for its files"
    return f"{said}. Set delimiter for its files"


def _head_text(source: SourceFile) -> str:
    spec, head = source.spec, b""
    for piece in pieces(source):
        head += piece
        if head.count(b"\n") >= spec.header_row + spec.header_rows or len(head) > 4 * PIECE:
            break
    encoding = NATIVE_ENCODINGS.get(spec.encoding.lower(), spec.encoding)
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(head)
    except UnicodeDecodeError as error:
        line = head[: error.start].count(b"\n") + 1
        if line >= spec.header_row + spec.header_rows:
            text = codecs.getincrementaldecoder(encoding)("replace").decode(head)
        else:
            raise SourceError(_wrong_encoding(source, line, error)) from error
    except UnicodeError as error:
        raise SourceError(_no_mark(source)) from error
    return text.lstrip(MARKS)


def _no_mark(source: SourceFile) -> str:
    return (
        f"{source.label}: it does not begin with the byte-order mark that {source.spec.encoding} text has. "
        f"Set encoding for files.{source.name}, for example 'utf-8' or '{source.spec.encoding}-le'. Nothing was loaded."
    )


def _wrong_encoding(source: SourceFile, line: int, error: UnicodeDecodeError) -> str:
    return (
        f"{source.label}, line {line}: byte 0x{error.object[error.start]:02x} is not {source.spec.encoding} text. "
        f"Set encoding for files.{source.name}, for example 'cp1252' or 'latin-1'. Nothing was loaded."
    )


def as_utf8(source: SourceFile, target: Path) -> Path:
    """The file as UTF-8 with plain line ends, written to `target`; for encodings and line ends the engine refuses."""
    decoder = codecs.getincrementaldecoder(NATIVE_ENCODINGS.get(source.spec.encoding.lower(), source.spec.encoding))()
    line, held, first = 1, "", True
    other = _OtherEncoding(source)
    with target.open("w", encoding="utf-8", newline="") as out:
        for piece in itertools.chain(pieces(source), [b""]):
            try:
                text = held + decoder.decode(piece, final=not piece)
                other.look(piece)
            except UnicodeDecodeError as error:
                raise SourceError(_wrong_encoding(source, line + piece[: error.start].count(b"\n"), error)) from error
            except UnicodeError as error:
                raise SourceError(_no_mark(source)) from error
            if first and text:
                text, first = text.lstrip(MARKS), False
            held = "\r" if piece and text.endswith("\r") else ""
            text = text[: len(text) - len(held)].replace("\r\n", "\n").replace("\r", "\n")
            line += text.count("\n")
            out.write(text)
    other.judge()
    return target


class _OtherEncoding:
    """Watches a file that is said to be in a one-byte encoding for being UTF-8, which such a decoder cannot notice."""

    def __init__(self, source: SourceFile) -> None:
        self.source = source
        one_byte = codecs.lookup(source.spec.encoding).name.startswith(("cp", "iso8859", "latin", "mac"))
        self.decoder = codecs.getincrementaldecoder("utf-8")() if one_byte else None
        self.seen = ""

    def look(self, piece: bytes) -> None:
        """Take the next piece of the file; an empty one ends it."""
        if self.decoder is None:
            return
        try:
            text = self.decoder.decode(piece, final=not piece)
        except UnicodeDecodeError:
            self.decoder = None
            return
        if not self.seen and not text.isascii():
            self.seen = next(word for word in text.split() if not word.isascii())[:40]

    def judge(self) -> None:
        """Raise `SourceError` if every byte was UTF-8 and some were more than ASCII."""
        if self.decoder is not None and self.seen:
            seen = "" if self.source.sealed else f" (it holds {self.seen!r})"
            raise SourceError(
                f"{self.source.label} is UTF-8 text{seen}, not {self.source.spec.encoding}: "
                f"set encoding = 'utf-8' for files.{self.source.name}. Nothing was loaded."
            )
