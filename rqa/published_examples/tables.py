"""The published values with their sources, and how a printed figure is compared with a computed one."""

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from rqa.errors import RqaError

FILES = ("charts.toml", "run_lengths.toml")
SLACK = 1e-9
"""Rounding of the last bits, for figures that lie just half a unit off."""


@dataclass(frozen=True)
class CheckedFigure:
    """One printed figure beside the computed one, to the same decimals; `why` says what is known of a difference."""

    figure: str
    published: str
    computed: str
    agrees: bool
    why: str = ""


@cache
def tables() -> dict[str, dict[str, Any]]:
    """All blocks of published values: inside an installed package, else in the checkout."""
    here = Path(__file__).parent.parent
    for place in (here / "_bundled" / "shared", here.parent / "shared"):
        if all((place / name).is_file() for name in FILES):
            blocks: dict[str, dict[str, Any]] = {}
            for name in FILES:
                blocks |= tomllib.loads((place / name).read_text(encoding="utf-8"))
            return blocks
    raise RqaError("the published values are not part of this installation; install rqa again.")


def printed(
    figure: str, published: object, computed: float, decimals: int | None = None, why: str = ""
) -> CheckedFigure:
    """Compare to half a unit of the last printed decimal; `published` may be the printed text itself."""
    text = published if isinstance(published, str) else f"{float(published):.{decimals or 0}f}"  # type: ignore[arg-type]
    shown = len(text.partition(".")[2])
    agrees = abs(computed - float(text)) <= 0.5 * 10.0**-shown + SLACK
    # A sum that lies half a unit off may be printed rounded up or down; then the printed text is ours too.
    ours = f"{computed:.{shown}f}"
    return CheckedFigure(figure, text, text if agrees else ours, agrees, "" if agrees else why)


def row(
    name: str, published: Sequence[object], computed: Iterable[float], decimals: int, *, first: int = 1
) -> list[CheckedFigure]:
    """One figure for each value of a row, numbered."""
    pairs = zip(published, computed, strict=False)
    return [printed(f"{name} {i}", p, float(c), decimals) for i, (p, c) in enumerate(pairs, first)]


def exactly(figure: str, published: Sequence[int], computed: Sequence[int]) -> CheckedFigure:
    """Compare a list of points, such as those that are out."""
    texts = [", ".join(map(str, x)) or "none" for x in (published, computed)]
    return CheckedFigure(figure, texts[0], texts[1], list(published) == list(computed))


def significant(figure: str, published: float, computed: float, digits: int, why: str = "") -> CheckedFigure:
    """Compare a figure printed to so many significant digits."""
    from math import floor, log10

    decimals = max(0, digits - 1 - floor(log10(abs(published))))
    return printed(figure, published, computed, decimals, why)
