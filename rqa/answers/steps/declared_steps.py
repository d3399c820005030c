"""The procedures as they are declared: what each step touches, what is dangerous about it, and in what order."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.measures.run import counts

if TYPE_CHECKING:
    from rqa.store.engine import Store

SEPARATOR = "\x1f"


@dataclass(frozen=True)
class DeclaredStep:
    """One place of one procedure."""

    procedure: str
    place: int
    step: str
    phase: str
    subsystems: tuple[str, ...]
    hazards: tuple[str, ...]
    opportunities: int
    hold_point: bool
    irreversible: bool


def declared_steps(store: "Store") -> tuple[DeclaredStep, ...]:
    """Every place of every procedure, in order."""
    return tuple(
        DeclaredStep(procedure, place, step, phase, _names(touched), _names(hazards), opportunities, hold, final)
        for procedure, place, step, phase, touched, hazards, opportunities, hold, final in counts(
            store, "step_touches"
        ).rows()
    )


def _names(written: str | None) -> tuple[str, ...]:
    return tuple(dict.fromkeys(written.split(SEPARATOR))) if written else ()


def touches(steps: tuple[DeclaredStep, ...]) -> Mapping[tuple[str, str], frozenset[str]]:
    """Which steps of a procedure touch a subsystem."""
    made: dict[tuple[str, str], set[str]] = {}
    for s in steps:
        for f in s.subsystems:
            made.setdefault((s.procedure, f), set()).add(s.step)
    return {key: frozenset(names) for key, names in made.items()}


def hazards_of(steps: tuple[DeclaredStep, ...]) -> Mapping[str, tuple[str, ...]]:
    """The hazards of each step, over all procedures that have it."""
    made: dict[str, dict[str, None]] = {}
    for s in steps:
        made.setdefault(s.step, {}).update(dict.fromkeys(s.hazards))
    return {step: tuple(names) for step, names in made.items()}
