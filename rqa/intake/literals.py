"""Texts and paths as SQL takes them, for the places where the engine takes no bound value."""

import re
from pathlib import Path


def literal(text: str) -> str:
    """A text as an SQL literal, for the places where the engine takes no bound value (reader options)."""
    return "'" + text.replace("'", "''") + "'"


def literal_path(path: Path) -> str:
    """A path written so that the engine takes it for one file; left as it is, `*`, `?` and `[` would be a pattern."""
    return re.sub(r"[*?[]", r"[\g<0>]", str(path))
