"""Zip archives: the one file of an archive that is read, unpacked within limits of size."""

import fnmatch
import zipfile
import zlib
from pathlib import Path
from typing import IO

from rqa.errors import SourceError
from rqa.intake.formats import ENDINGS, ZIP, Format, format_of
from rqa.words import counted

MOST_BYTES = 8 << 30
"""Bytes that are unpacked of one file."""
MOST_TIMES, SMALL = 200, 32 << 20
"""How many times its packed size a file of more than so many bytes may have: logs pack to a tenth or a fiftieth."""
MOST_NAMES = 10_000
"""Files that an archive may list."""
PIECE = 1 << 20
NOT_FILES = ("__MACOSX/*", "*/.*", ".*", "*/")
"""What packing programs add: folders, and hidden files."""
UNREADABLE = (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError)


def is_archive(path: Path) -> bool:
    """Whether the name of a file says that it is a zip archive."""
    return path.suffix.lower() == ZIP


def members(path: Path) -> list[str]:
    """The names of the files that an archive holds; raises an error of `UNREADABLE` where it is damaged."""
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
    if len(names) > MOST_NAMES:
        raise ValueError(f"it lists {counted(len(names), 'file')}, and {MOST_NAMES:,} are looked at")
    return [n for n in names if not any(fnmatch.fnmatchcase(n, pattern) for pattern in NOT_FILES)]


def member_of(path: Path, asked: str | None, label: str) -> str:
    """The name of the file that is read of an archive: the one that is asked for, else the only one.

    Raises `SourceError` where that is none or several, and names what there is.
    """
    try:
        names = members(path)
    except UNREADABLE as error:
        said = f"is no readable zip archive ({error})"
        raise SourceError(f"{label}: {said}. Fetch it again. Nothing was loaded.") from error
    if asked in names:
        return str(asked)
    met = [n for n in names if fnmatch.fnmatchcase(n, asked)] if asked is not None else names
    if len(met) == 1:
        return met[0]
    shown = ", ".join(names[:10]) + (" …" if len(names) > 10 else "")
    if not names:
        raise SourceError(f"{label}: the zip archive holds no file. Nothing was loaded.")
    if asked is None:
        said = f"the zip archive holds {counted(len(names), 'file')}. Name one with member"
    else:
        said = f"{counted(len(met), 'file')} of the zip archive {'fits' if len(met) == 1 else 'fit'} member = {asked!r}"
    raise SourceError(f"{label}: {said}; there is: {shown}. Nothing was loaded.")


def format_in(path: Path, asked: str | None, label: str) -> Format | None:
    """The format that the name of the file in an archive tells."""
    return format_of(member_of(path, asked, label))


def ending_of(name: str) -> str:
    """The ending that an unpacked file gets: of the formats that are read, and of what is packed again."""
    plain = Path(name.lower())
    packed = plain.suffix if plain.suffix == ".gz" else ""
    ending = plain.with_suffix("").suffix if packed else plain.suffix
    return (ending if ending in ENDINGS else "") + packed


def unpack(path: Path, member: str, target: Path, label: str) -> None:
    """Write a file of an archive to `target`.

    Raises `SourceError` where it is encrypted, damaged, or larger than is unpacked. What the archive says of its size
    is not believed: the bytes are counted.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            info = archive.getinfo(member)
            if info.flag_bits & 1:
                raise SourceError(f"{label}, {member}: is encrypted. Unpack it by hand. Nothing was loaded.")
            most = min(MOST_BYTES, max(SMALL, MOST_TIMES * info.compress_size))
            with archive.open(info) as stream, target.open("wb") as out:
                _copied(stream, out, most, f"{label}, {member}")
    except UNREADABLE as error:
        if isinstance(error, SourceError):
            raise
        raise SourceError(
            f"{label}, {member}: cannot be unpacked ({error}). Fetch the archive again. Nothing was loaded."
        ) from error


def _copied(stream: IO[bytes], out: IO[bytes], most: int, called: str) -> None:
    size = 0
    while piece := stream.read(PIECE):
        size += len(piece)
        if size > most:
            raise SourceError(
                f"{called}: is more than {most >> 20:,} MB when unpacked, which no log of its packed size is. "
                "Unpack it by hand if it is sound. Nothing was loaded."
            )
        out.write(piece)
