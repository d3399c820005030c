"""A planned study as a layout: units by appraisers by trials, what is missing of it, and which units are complete."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

SHOWN = 5
"""Gaps that are named one by one."""


@dataclass(frozen=True, eq=False)
class Study:
    """The judgements of one study of one test, by unit and appraiser, in the order of trials."""

    name: str
    test: str
    values: Mapping[tuple[str, str], list[float]] = field(default_factory=dict)
    verdicts: Mapping[tuple[str, str], list[str]] = field(default_factory=dict)
    references: Mapping[str, str] = field(default_factory=dict)
    contradicted: tuple[str, ...] = ()
    """Units with more than one reference: they have none."""

    @property
    def units(self) -> list[str]:
        """Every unit of the study."""
        return sorted({unit for unit, _ in (*self.values, *self.verdicts)})

    @property
    def appraisers(self) -> list[str]:
        """Every appraiser of the study."""
        return sorted({who for _, who in (*self.values, *self.verdicts)})

    @property
    def trials(self) -> int:
        """Judgements of a unit by an appraiser, as most have them."""
        n = Counter([*map(len, self.values.values()), *map(len, self.verdicts.values())])
        return max(n, key=lambda size: (n[size], size))


@dataclass(frozen=True, eq=False)
class Crossed:
    """Values of the complete units, units x appraisers x trials; what was left out, in words; why there is nothing."""

    values: NDArray[np.float64]
    left_out: int
    missing: str
    refused: str


def studies_of(table: "pl.DataFrame") -> list[Study]:
    """The studies in a table of judgements."""
    made = []
    parts = table.partition_by(["study", "test"], maintain_order=True) if table.height else []
    for part in parts:
        values: dict[tuple[str, str], list[float]] = {}
        verdicts: dict[tuple[str, str], list[str]] = {}
        references: dict[str, set[str]] = {}
        for r in part.iter_rows(named=True):
            place = (r["item"], r["appraiser"])
            if r["value"] is not None:
                values.setdefault(place, []).append(r["value"])
            if r["outcome"] is not None:
                verdicts.setdefault(place, []).append(r["outcome"])
            if r["reference"] is not None:
                references.setdefault(r["item"], set()).add(r["reference"])
        sure = {unit: next(iter(given)) for unit, given in references.items() if len(given) == 1}
        torn = tuple(sorted(set(references) - set(sure)))
        made.append(Study(part["study"][0], part["test"][0], values, verdicts, sure, torn))
    return made


def crossed(study: Study) -> Crossed:
    """The measured values as a full layout; units that lack a trial of any appraiser are left out and named."""
    who, units = sorted({a for _, a in study.values}), sorted({u for u, _ in study.values})
    sizes = Counter(len(found) for found in study.values.values())
    trials = max(sizes, key=lambda size: (sizes[size], size))
    gaps = {
        (unit, a): len(study.values.get((unit, a), ()))
        for unit in units for a in who if len(study.values.get((unit, a), ())) < trials
    }
    complete = [unit for unit in units if not any(gap[0] == unit for gap in gaps)]
    named = [f"unit {unit} by {a} has {n} of {counted(trials, 'trial')}" for (unit, a), n in sorted(gaps.items())]
    missing = "; ".join(named[:SHOWN]) + (f"; and {len(named) - SHOWN} more" if len(named) > SHOWN else "")
    refused = ""
    if trials < 2:
        refused = "Each unit was measured once by each appraiser: a second trial is needed to tell repeatability."
    elif len(complete) < 2:
        refused = "One unit only: two are needed to tell the gauge from the units."
        if gaps:
            refused = f"{len(complete)} of {counted(len(units), 'unit')} complete, two are needed: {missing}."
    cube = [[study.values[unit, a][:trials] for a in who] for unit in complete]
    shape = (0, 0, 0) if refused else (len(complete), len(who), trials)
    return Crossed(np.array([] if refused else cube, dtype=np.float64).reshape(shape), len(units) - len(complete),
                   missing, refused)
