"""Which parts of a cost are counted: one that a site's logs never give is left out there, and named."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rqa.answers.core.case_lists import RATE as RATE
from rqa.words import count, counted, plural

if TYPE_CHECKING:
    import polars as pl

PARTS = ("labour", "parts", "freight")
TO_MAP = {
    "labour": "labour_minutes of jobs",
    "parts": "parts_cost of jobs, or quantity and unit_cost of parts",
    "freight": "freight_cost of jobs",
}
"""What to map so that a part counts."""


def without(part: str) -> str:
    """The column that counts the known costs in which a part is not counted."""
    return f"without_{part}"


def not_counted(row: Mapping[str, Any]) -> str:
    """The parts that a row's cost does not count: "freight", or "freight (in 12 of 50)"; none: ""."""
    known = row["known"]
    said = [
        part if row[without(part)] == known else f"{part} (in {count(row[without(part)])} of {count(known)})"
        for part in PARTS
        if row[without(part)]
    ]
    return ", ".join(said)


def uncounted_notes(table: "pl.DataFrame", rate: float, *, of: str = "") -> list[str]:
    """What to say of the parts not counted, and of costs that no part makes; `table` is that of the counts.

    `of` says whose come-backs the table counts, where these are others than the answer's own: " of all months".
    """
    if not table.height:
        return []
    named = ("comebacks", "known", "no_costs", "no_rate", *map(without, PARTS))
    sums = {name: int(table[name].sum()) for name in named}
    notes = []
    for part in PARTS:
        n = sums[without(part)]
        if n:
            where = "" if n == sums["known"] else f" in {count(n)} of {count(sums['known'])} known costs"
            notes.append(
                f"{part.capitalize()} {'are' if part == 'parts' else 'is'} not counted{where}: {_why(part, rate)}."
            )
    bare = sums["no_costs"] - sums["no_rate"]
    if sums["no_rate"]:
        notes.append(
            f"{_what(sums['no_rate'], sums['comebacks'], of)}: labour minutes are given; add {RATE} (cost of an hour) "
            "under [workspace]."
        )
    if bare:
        notes.append(
            f"{_what(bare, sums['comebacks'], of)}: {plural(bare, 'its site gives', 'their sites give')} no labour "
            f"minutes, parts or freight. To map: {'; '.join(TO_MAP[p] for p in PARTS)}; and {RATE} under [workspace]."
        )
    return notes


def _what(untold: int, comebacks: int, of: str) -> str:
    """The come-backs whose cost cannot be told."""
    every = plural(comebacks, "the come-back", "the come-backs")
    some = every if untold == comebacks else f"{count(untold)} of {counted(comebacks, 'come-back')}"
    return f"What {some}{of} cost cannot be told"


def _why(part: str, rate: float) -> str:
    if part == "labour" and not rate:
        return f"the mapping gives no {RATE} (cost of an hour, under [workspace])"
    return f"no job at the sites concerned gives {'them' if part == 'parts' else 'it'}. To be mapped: {TO_MAP[part]}"
