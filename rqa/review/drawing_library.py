"""The library that draws a page's figures in a browser, as one script that the page holds.

To put it together takes more than a second, and it is always the same: it is kept in the user's folder for caches, a
file for each version of the compiler and the grammar. A file that is damaged, or cannot be written, is no loss.
"""

import hashlib
from contextlib import suppress
from functools import cache
from pathlib import Path

from rqa.plots.renderer import grammar_version
from rqa.written import write_whole

SNIPPET = "window.vegaEmbed = vegaEmbed;"
"""What the script does with the library: a page's own script finds it there."""


@cache
def drawing_library() -> str:
    """The script, once for all figures."""
    place = kept_at()
    known = _read(place)
    if known is not None:
        return known
    made = put_together()
    content = made.encode("utf-8")
    with suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, _sum(content) + b"\n" + content)
    return made


def put_together() -> str:
    """The script as the compiler makes it."""
    import vl_convert

    return str(vl_convert.javascript_bundle(SNIPPET, vl_version=grammar_version()))


def kept_at() -> Path:
    """Where it is kept."""
    from importlib.metadata import version

    from platformdirs import user_cache_path

    made_by = hashlib.sha256(f"{version('vl-convert-python')} {grammar_version()} {SNIPPET}".encode()).hexdigest()
    return user_cache_path("rqa", appauthor=False) / f"drawing-library-{made_by[:16]}.js"


def _read(place: Path) -> str | None:
    """What is kept there; None where there is nothing, or what is no longer what was written."""
    try:
        told, _, content = place.read_bytes().partition(b"\n")
        return content.decode("utf-8") if told == _sum(content) else None
    except (OSError, UnicodeDecodeError):
        return None


def _sum(content: bytes) -> bytes:
    return hashlib.sha256(content).hexdigest().encode("ascii")
