"""What the parts of a mapping have in common: unknown keys are faults, and one text may stand for a list of one."""

from collections.abc import Iterable
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict

from rqa.shown import told
from rqa.words import nearest


class Part(BaseModel):
    """A part of the mapping: frozen, and with no other keys than its own."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


Texts = Annotated[list[str], BeforeValidator(_as_list)]


def unknown_name(name: str, existing: Iterable[object]) -> str:
    """A sentence that names what exists, nearest first, for a name that does not."""
    there = [str(e) for e in existing]
    near = nearest(name, there)
    return (f"did you mean {told(near)}? " if near else "") + "There is: " + (", ".join(there) or "none")
