"""What an action names: the work it is about, and the change it is to bring, read from the words of its row."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from rqa.answers.core.filters import FORM, Where, filters_of, quotes_needed, written
from rqa.answers.core.scope import check_values
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, did_you_mean

if TYPE_CHECKING:
    from rqa.store.engine import Store

NAMED = ("site", "model", "procedure", "step", "technician")
"""What a scope can name."""
FRACTIONS = {
    "half": 1 / 2, "a half": 1 / 2, "one half": 1 / 2, "a third": 1 / 3, "one third": 1 / 3, "two thirds": 2 / 3,
    "a quarter": 1 / 4, "one quarter": 1 / 4, "three quarters": 3 / 4, "a fifth": 1 / 5, "a tenth": 1 / 10,
}
BY_FRACTION = re.compile(rf"\bby ({'|'.join(sorted(FRACTIONS, key=len, reverse=True))})\b")
BY_PERCENT = re.compile(r"\bby (\d+(?:\.\d+)?) ?(?:%|percent|per cent)")
FACTOR = re.compile(r"(?:\bx|×|\*) ?(\d+(?:\.\d+)?)\b")
HALVED = re.compile(r"\bhalv(?:e|ed|ing)\b")
UPWARDS = re.compile(r"\b(more|higher|rise|rises|raise|raised|increase|increased|up|yield)\b")
EXPECTED_FORMS = "x0.5, by half, by a third, by 30 %"


@dataclass(frozen=True)
class ActionScope:
    """The work an action is about: `jobs`, filters on the job by name, and `steps`, of which one was done in it."""

    jobs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    steps: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "jobs", MappingProxyType(dict(self.jobs)))

    @property
    def where(self) -> dict[str, tuple[str, ...]]:
        """All of it as filters by name."""
        return {**self.jobs, **({"step": self.steps} if self.steps else {})}

    def __str__(self) -> str:
        return written(self.where)


def read_scope(text: str, *, of: str = "scope") -> ActionScope:
    """Read the text of a scope; see `rqa.answers.core.filters`.

    `of` names the action in errors. Raises `RequestError` saying which part is wrong, and what a scope can name.
    """
    return scope_of(text, of=of)


def scope_of(where: Where, *, of: str = "scope") -> ActionScope:
    """A scope given as text or as filters by name."""
    found = filters_of(of, where)
    for name, values in found.items():
        if name not in NAMED:
            meant = did_you_mean(name, NAMED)
            raise RequestError(f"{of}: a scope cannot name {name!r}. It can name {', '.join(NAMED)}.{meant}")
        if not values or not all(values):
            raise RequestError(f"{of}: {name} names no value; write it like {FORM}.")
    if not found:
        raise RequestError(f"{of}: the scope is empty; it names the work that was changed, like {FORM}.")
    return ActionScope({name: kept for name, kept in found.items() if name != "step"}, found.get("step", ()))


def check_scope(store: "Store", scope: ActionScope, *, of: str = "scope") -> None:
    """Raise `RequestError` for a value that the store does not have, or a step that its procedure does not have."""
    check_values(store, of, scope.where)
    for name in scope.jobs.get("technician", ()):
        there = counts(store, "values_jobs", by=("technician",))["technician"].to_list()
        if name not in there:
            others = [other for other in there if other != "unknown"]
            meant = quotes_needed("technician", name, others) or did_you_mean(name, others)
            raise RequestError(
                f"{of}: there is no technician {name!r} in the store ({counted(len(others), 'other')}). Names that are "
                f"replaced at intake stand there as their codes.{meant}"
            )


def expected_ratio(text: str | None) -> float | None:
    """The factor on the come-back rate that a text expects: "x0.5", "by half", "by a third", "by 30 %"; None: none.

    Texts that speak of a rise, or of a yield, state nothing of come-backs.
    """
    said = " ".join((text or "").lower().replace("-", " ").split())
    if not said or UPWARDS.search(said):
        return None
    found: float | None = None
    if match := FACTOR.search(said):
        found = float(match[1])
    elif match := BY_FRACTION.search(said):
        found = 1.0 - FRACTIONS[match[1]]
    elif match := BY_PERCENT.search(said):
        found = 1.0 - float(match[1]) / 100.0
    elif HALVED.search(said):
        found = 0.5
    return found if found is not None and 0.0 <= found < 1.0 else None
