"""Which picture draws which kind of answer: each says so itself, where it is defined."""

import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any, TypeVar

from rqa.answers.core.result import Answer

Draw = TypeVar("Draw", bound=Callable[..., Any])


@dataclass(frozen=True)
class Picture:
    """What draws a kind of answer."""

    draw: Callable[..., Any]
    """Takes the answer, and `headed`, `width`, `selection` as `plot` does."""
    title: Callable[[Any], str]
    many_rows: Callable[[Any], bool]
    """Whether it draws of a long answer what can be read; other long answers are refused."""
    limited: bool
    """Whether it takes `limit`, too."""


_PICTURES: dict[type[Answer], Picture] = {}


def draws(
    *kinds: type[Answer],
    title: Callable[[Any], str] = lambda answer: str(answer.question),
    many_rows: bool | Callable[[Any], bool] = False,
    limited: bool = False,
) -> Callable[[Draw], Draw]:
    """Register a function as the picture of these kinds of answer.

    `title` heads the chart that is drawn where there is nothing to show.
    """

    many = many_rows if callable(many_rows) else lambda _: many_rows

    def register(draw: Draw) -> Draw:
        for kind in kinds:
            if kind in _PICTURES:
                raise ValueError(f"{kind.__name__} has two pictures: {_PICTURES[kind].draw.__name__}, {draw.__name__}.")
            _PICTURES[kind] = Picture(draw, title, many, limited)
        return draw

    return register


@cache
def pictures() -> Mapping[type[Answer], Picture]:
    """The picture of each kind of answer; every module beside this one is asked for what it draws."""
    package = __name__.rpartition(".")[0]
    for module in pkgutil.walk_packages(import_module(package).__path__, f"{package}."):
        import_module(module.name)
    return _PICTURES
