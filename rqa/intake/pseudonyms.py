"""Keyed pseudonyms at intake: SQL by which names become codes that only the key ties back to them.

HMAC is written out in SQL, since rows stay in the engine; the tests hold it against the standard library's.
"""

from collections.abc import Collection
from pathlib import Path

from rqa.errors import MappingError
from rqa.intake.literals import literal, literal_path
from rqa.intake.mapping import Mapping
from rqa.shown import told

PREFIX, DIGITS = "P", 10
"""Hexadecimal digits kept: two of 5,000 people get the same with a chance of about 1 in 90,000."""
BLOCK = 64
"""Bytes to which HMAC brings a key for SHA-256."""


def pseudonym(text: str, key_file: str, *, prefix: str = PREFIX, digits: int = DIGITS) -> str:
    """SQL that turns a text into a pseudonym: HMAC-SHA-256 under the key that a file holds.

    The key is read from the file at each load, whole as it is, and never stored. The same text always gets the same
    pseudonym, letter case aside. Raises `MappingError` if the file is not there or is empty.

    Source: H. Krawczyk, M. Bellare and R. Canetti, HMAC, RFC 2104, 1997.
    """
    path = Path(key_file).expanduser()
    if lacking := _lacking(path):
        raise MappingError(f"key_file: {path} {lacking}.")
    inner, outer = (_padded(path.resolve(), byte) for byte in (0x36, 0x5C))
    digest = f"sha256({outer} || unhex(sha256({inner} || encode(upper({text})))))"
    return f"'{prefix}' || left({digest}, {digits})"


def key_faults(mapping: Mapping, workspace: Path, sources: Collection[Path]) -> list[str]:
    """What is wrong with where the keys of a mapping lie, each with its place; `sources` are the files read."""
    return [
        f"table.{number} ({entry.table}): columns.{name}.key_file: {told(origin.key_file)} {said}"
        for number, entry in enumerate(mapping.table, 1)
        for name, origin in entry.columns.items()
        if origin.key_file is not None
        and (said := _misplaced(Path(origin.key_file).expanduser(), workspace.resolve(), sources))
    ]


def _lacking(key: Path) -> str:
    """What is wrong with a file that should hold a key and holds none; nothing if it holds one."""
    if key.is_file() and key.stat().st_size:
        return ""
    return f"holds no key. Make one once, e.g. with `openssl rand -out {key} 32`, and keep it out of the workspace"


def _misplaced(key: Path, workspace: Path, sources: Collection[Path]) -> str:
    """What is wrong with where a key lies; nothing if all is well."""
    if key.resolve().is_relative_to(workspace):
        return (
            "lies in the workspace, so that who gets the one gets the other. Move the key to a folder outside that few "
            "may read"
        )
    if key.exists() and any(source.exists() and source.samefile(key) for source in sources):
        return (
            "is one of the files that are read, so that whoever has its rows has the key, and a new row is a new key. "
            "Make a key of its own, e.g. with `openssl rand`"
        )
    return _lacking(key)


def _padded(path: Path, byte: int) -> str:
    """SQL for the key, brought to a block's length, with each of its bytes combined with one byte."""
    quoted = literal(literal_path(path))
    key = (
        f"rpad(case when octet_length(content) > {BLOCK} then sha256(content) else hex(content) end, {2 * BLOCK}, '0')"
    )
    combined = f"printf('%02x', xor(cast('0x' || substr({key}, 2 * place + 1, 2) as integer), {byte}))"
    return (
        f"(select unhex(string_agg({combined}, '' order by place)) from read_blob({quoted}), "
        f"range({BLOCK}) as places (place))"
    )
