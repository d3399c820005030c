"""What is to be done about something that is lacking, said once on a page: where it is met first."""

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from rqa.answers.core.grounds import Sentence

Facts = TypeVar("Facts")


def said_once(facts: Facts) -> Facts:
    """The facts of a page, each sentence without what an earlier one says is to be done."""
    made: Facts = _shortened(facts, set())
    return made


def _shortened(thing: Any, said: set[str]) -> Any:
    if isinstance(thing, Sentence):
        new = thing.without(said)
        said |= set(thing.remedy)
        return new
    if isinstance(thing, tuple):
        return tuple(_shortened(part, said) for part in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        parts = {f.name: getattr(thing, f.name) for f in fields(thing)}
        held = {name: part for name, part in parts.items() if isinstance(part, Sentence | tuple) or is_dataclass(part)}
        return replace(thing, **{name: _shortened(part, said) for name, part in held.items()})
    return thing
