"""Text from outside as it may be shown: signs that steer a terminal or turn a line around become marks one can see.

The store keeps every text as it came; pictures, pages, workbooks and the terminal show it through here. The control
signs are those of Unicode's category Cc; the signs of direction are those of Unicode Standard Annex 9.
"""

import re
from typing import Any

LONGEST_VALUE, LONGEST_LINE = 80, 1_000
"""Signs of a foreign value, and of a line of a message, that are shown."""
TAIL = 300
"""Signs at the end of a line that is cut: the next step stands there."""
KEPT = "\n\t"
"""Controls that lay out a text of our own."""
UNSHOWN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"  # controls
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # direction
    "\u2028\u2029\ufeff\ufff9-\ufffb"  # line ends and marks that are not seen
    "\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"  # no characters at all
)


def shown(text: str) -> str:
    """The text with every sign that cannot be shown as a mark: a control as its picture, another as its number.

    A text without such signs comes back as it is.
    """
    return UNSHOWN.sub(_mark, text) if UNSHOWN.search(text) else text


def one_line(text: str) -> str:
    """The text shown, with its line ends and tabs as marks too: a name or a cell, which lays out nothing."""
    return re.sub(f"[{KEPT}]", _mark, shown(text))


def told(value: object) -> str:
    """A value that comes from a file or a store, as a message names it: in quotes, on one line, cut where it is long.

    Signs that cannot be printed are written as in Python.
    """
    text = str(value)
    if len(text) <= LONGEST_VALUE:
        return repr(text)
    return f"{text[:LONGEST_VALUE]!r}… ({len(text):,} signs)"


def short(text: str) -> str:
    """A foreign value in a line of its own: `one_line`, cut where it is long."""
    return one_line(text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…")


def first_line(said: object) -> str:
    """The first line of what a library says."""
    return next(iter(str(said).strip().splitlines()), "")


def message(text: str) -> str:
    """A message of ours with foreign values in it: shown, and no line of it longer than a screen can take."""
    return "\n".join(_middle_cut(line) for line in shown(text).split("\n"))


def _middle_cut(line: str) -> str:
    if len(line) <= LONGEST_LINE:
        return line
    return f"{line[: LONGEST_LINE - TAIL]} […] {line[-TAIL:]}"


def all_shown(value: Any) -> Any:
    """A picture's specification, or any nested lists and dictionaries, with every text in it shown."""
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, dict):
        return {all_shown(k): all_shown(v) for k, v in value.items()}
    return [all_shown(v) for v in value] if isinstance(value, list) else value


def _mark(found: re.Match[str]) -> str:
    code = ord(found.group())
    if code < 0x20:
        return chr(0x2400 + code)
    return "\u2421" if code == 0x7F else f"\u2039U+{code:04X}\u203a"
