"""What two periods compared say in words."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rqa.words import counted_of, fixed, listed, months_said, percent, signed, spoken

if TYPE_CHECKING:
    import polars as pl

HIGHER, LOWER, SAME = "higher", "lower", "no difference shown"
ONLY = {"before": "only before", "after": "only after"}
MEASURED = {
    "comebacks": ("Come-backs within {window} days", "matured jobs"),
    "first_pass_yield": ("First-pass yield", "first checks"),
    "first_run_pass": ("First-run pass share of diagnostics", "first runs"),
}


def points(size: float, low: float, high: float) -> str:
    """A difference of shares with its limits: "+1.2 points (−0.3 to 2.7)"."""
    return f"{signed(size * 100, 1)} points ({fixed(low * 100, 1)} to {fixed(high * 100, 1)})"


def measured(settings: Mapping[str, Any]) -> tuple[str, str]:
    """What was measured, and what its cases are."""
    name, cases = MEASURED[settings["measure"]]
    return name.format(window=settings.get("window")), cases


def told_in_words(parts: "pl.DataFrame", whole: "pl.DataFrame", settings: Mapping[str, Any]) -> list[str]:
    """The whole difference and its parts as sentences; nothing where it cannot be told."""
    rows = {row["part"]: row for row in parts.iter_rows(named=True)}
    difference = rows["difference"]
    if difference["size"] is None:
        return []
    name, cases = measured(settings)
    sides = []
    for side in ("before", "after"):
        number, events = int(whole[f"cases_{side}"].sum()), int(whole[f"events_{side}"].sum())
        sides.append(f"{months_said(*settings[side])} {percent(events / number)} of {counted_of(number, cases)}")
    said = [f"{name}: {sides[0]}; {sides[1]}. The difference is {_judged(difference)}."]
    by = [spoken(b) for b in settings["by"] if b != "class"]
    if by:
        mix = f"the mix of {listed(by)}"
        told = [f"other rates on the same mix make {_judged(rows['rate'])}", f"{mix} {_judged(rows['mix'])}"]
        if "interaction" in rows:
            told.append(f"both together {_judged(rows['interaction'])}")
        said.append(f"Of that, {'; '.join(told)}.")
        said.append(
            "Parts say where a difference lies in the counts, not what caused it. Other groupings give other parts."
        )
    return said


def _judged(row: Mapping[str, Any]) -> str:
    return f"{points(row['size'], row['low'], row['high'])}, {row['verdict']}"
