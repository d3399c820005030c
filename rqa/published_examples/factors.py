"""Factors of subgroups: the tables of the trade, and what stands wrong in them."""

from typing import Any

from rqa.published_examples.tables import CheckedFigure, printed, tables

OLD = "the old tables were made from constants already rounded; correct is {}"
NAMES = ("A", "A2", "A3", "c4", "B3", "B4", "B5", "B6", "d2", "d3", "D1", "D2", "D3", "D4", "E2")


def factors(block: dict[str, Any]) -> list[CheckedFigure]:
    """Every printed factor beside the one computed from its definition."""
    from rqa.spc import constants

    wrong = {(r["n"], r["factor"]): r["correct"] for r in tables()["constants_misprints"]["rows"]}
    made = []
    for line in block["rows"]:
        ours = constants(line["n"])
        for name in (n for n in NAMES if n in line):
            why = OLD.format(wrong[line["n"], name]) if (line["n"], name) in wrong else ""
            text = line[name] if isinstance(line[name], str) else f"{line[name]:.{block.get('decimals', 6)}f}"
            made.append(_as_rounded(f"{name} of {line['n']}", text, getattr(ours, name), why))
    return made


def _as_rounded(figure: str, text: str, value: float, why: str) -> CheckedFigure:
    """A factor agrees only if the printed text is its correct rounding."""
    shown = len(text.partition(".")[2])
    found = printed(figure, text, value, why=why)
    return found if f"{value:.{shown}f}" == text else CheckedFigure(figure, text, f"{value:.{shown}f}", False, why)
