"""Keyed pseudonyms at intake: SQL for a mapping, so that names become codes that only the key ties back to them."""

from pathlib import Path

from rqa.errors import RequestError

FEWEST_DIGITS = 8
BLOCK = 64
"""Bytes to which HMAC brings a key for SHA-256."""


def pseudonym_sql(column: str, *, key_file: str | Path, prefix: str = "P", digits: int = 10) -> str:
    """SQL that turns a source's column into a pseudonym: HMAC-SHA-256 under the key that a file holds.

    Paste it into `sources.toml` as `technician = { sql = '''…''' }`. The key is read from the file at each load, whole
    as it is, and never stored; keep the file outside the workspace, since who has it can try out names. The same name
    always gets the same pseudonym, letter case and spaces at either end aside.

    `column`: the source's column. `digits`: hexadecimal digits kept, 8 to 64; with 10 of them two of 5,000 people get
    the same with a chance of about 1 in 90,000.

    Raises `RequestError` if the file is not there or is empty, for a prefix that is not made of letters and digits, or
    for digits out of range.

    Source: H. Krawczyk, M. Bellare and R. Canetti, HMAC, RFC 2104, 1997.
    """
    path = Path(key_file).expanduser()
    if not path.is_file() or path.stat().st_size == 0:
        raise RequestError(f"key_file: {path} holds no key. Make one once, for example with `openssl rand -out`.")
    if isinstance(digits, bool) or not isinstance(digits, int) or not FEWEST_DIGITS <= digits <= BLOCK:
        raise RequestError(f"digits is a whole number from {FEWEST_DIGITS} to {BLOCK}: {digits!r}.")
    if not (prefix.isascii() and prefix.isalnum()):
        raise RequestError(f"prefix is made of letters and digits: {prefix!r}.")
    name = '"' + column.replace('"', '""') + '"'
    inner, outer = (_padded(path.resolve(), byte) for byte in (0x36, 0x5C))
    digest = f"sha256({outer} || unhex(sha256({inner} || encode(upper(trim({name}))))))"
    return f"'{prefix}' || left({digest}, {digits})"


def _padded(path: Path, byte: int) -> str:
    """SQL for the key, brought to a block's length, with each of its bytes combined with one byte."""
    quoted = path.as_posix().replace("'", "''")
    key = (
        f"rpad(case when octet_length(content) > {BLOCK} then sha256(content) else hex(content) end, {2 * BLOCK}, '0')"
    )
    combined = f"printf('%02x', xor(cast('0x' || substr({key}, 2 * place + 1, 2) as integer), {byte}))"
    return (
        f"(select unhex(string_agg({combined}, '' order by place)) from read_blob('{quoted}'), "
        f"range({BLOCK}) as places (place))"
    )
