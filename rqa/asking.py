"""How a depot takes a question: an answer's own function, which carries the only signature and the only docstring."""

import inspect
import re
from collections.abc import Callable
from functools import partial, wraps
from types import MethodType
from typing import Any, ClassVar, Concatenate, Generic, ParamSpec, Protocol, Self, TypeVar, overload

from rqa.answers.core.needs import grounded
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where
from rqa.errors import RequestError
from rqa.narrowed import NOTHING, Narrowing, asked_within
from rqa.renamed import earlier_arguments

P = ParamSpec("P")
R = TypeVar("R")
A = TypeVar("A", bound=Answer)


MODULES = re.compile(r"\b(?:[a-z_]\w*\.)+(?=\w)")
COMMON = {
    "by": "groupings, one or a list: a row of the answer is a group",
    "where": 'filters: {"site": "Alder", "model": ["Marl-8", "Marl-10"]}, or "site=Alder; model=Marl-8,Marl-10"',
    "months": 'closing months, ("2026-01", "2026-06") with both ends, or one; by default all',
    "window": "days after closing within which a come-back counts, 0 to 3,650",
    "upto": "days after closing up to which come-backs are looked at, 0 to 3,650",
    "index_disposition": 'jobs whose come-backs are counted: "repaired" or "no_fault_found"',
    "level": "confidence level of the intervals, between 0 and 1",
    "measure": 'the share that is compared, such as "comebacks" or "first_pass_yield"',
    "min_overlap": "share of its jobs, above 0 up to 1, from which on steps done together count as not told apart",
    "usual": "share of like jobs, above 0 up to 1, from which on a test counts as usual for the work",
    "recent": "latest months that a projection learns from, 1 or more",
    "resamples": "times that the jobs are drawn anew to see how firm a cluster is, 0 or more",
    "seed": "where the random draws begin, 0 or more: the same seed gives the same answer",
    "limit": "rows that are listed at most, 1 or more",
}
"""What arguments of many questions take. Help adds it where a question's own text does not name them."""
ALIASES: dict[object, str] = {
    kept: written
    for name, alias in (("By", By), ("Where", Where), ("Months", Months))
    for kept, written in ((alias, name), (alias | None, f"{name} | None"))
}
"""Types that help tells by their names; the docstring of `Depot` says what they take."""


class Written(str):
    """A type as help writes it: without quotes."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


class Asking(Protocol):
    """What has a snapshot of which questions are asked: a depot, or one of its areas."""

    _snapshot: Snapshot
    _narrowed: Narrowing


class Area:
    """Some of a depot's questions, asked of its snapshot."""

    def __init__(self, snapshot: Snapshot, narrowed: Narrowing = NOTHING) -> None:
        self._snapshot, self._narrowed = snapshot, narrowed

    def __repr__(self) -> str:
        asked = ", ".join(name for name, kept in vars(type(self)).items() if isinstance(kept, Question))
        return f"<{(type(self).__doc__ or '').splitlines()[0].rstrip('.')}: {asked}>"


class Question(Generic[P, R]):
    """A function of a snapshot as a method: what it takes after the snapshot is what the method takes.

    A question that asks others answers for what is wrong with its arguments in its own name.
    """

    asked: ClassVar[set[str]] = set()
    """The names of all questions, as they begin errors."""

    def __init__(self, ask: Callable[Concatenate[Snapshot, P], R]) -> None:
        Question.asked.add(ask.__name__)
        answer = earlier_arguments(ask, calls=2)

        @wraps(ask)
        def method(self: Asking, /, *args: P.args, **how: P.kwargs) -> R:
            try:
                if self._narrowed is NOTHING:
                    return answer(self._snapshot, *args, **how)
                named = dict(zip(placed, args, strict=False)) | how
                if len(named) < len(args) + len(how):
                    # Given too many, or one twice: the question's own error says so.
                    return answer(self._snapshot, *args, **how)
                return asked_within(self._narrowed, ask.__name__, own, partial(answer, self._snapshot), named)
            except RequestError as error:
                name, colon, said = str(error).partition(": ")
                if not colon or name == ask.__name__ or name not in Question.asked:
                    raise
                raise RequestError(f"{ask.__name__}: {said}") from error

        own = inspect.signature(ask)
        placed = [p.name for p in own.parameters.values() if p.kind is p.POSITIONAL_OR_KEYWORD][1:]
        rest = [each.replace(annotation=_written(each.annotation)) for each in list(own.parameters.values())[1:]]
        first = inspect.Parameter("self", inspect.Parameter.POSITIONAL_OR_KEYWORD)
        gives = _written(own.return_annotation)
        method.__doc__ = _told(inspect.getdoc(ask) or "", rest)
        vars(method)["__signature__"] = own.replace(parameters=[first, *rest], return_annotation=gives)
        self._method = method

    def __set_name__(self, owner: type, name: str) -> None:
        self._method.__name__ = name
        self._method.__qualname__ = f"{owner.__qualname__}.{name}"

    @overload
    def __get__(self, depot: None, owner: type) -> Self: ...
    @overload
    def __get__(self, depot: Asking, owner: type | None = None) -> Callable[P, R]: ...
    def __get__(self, depot: Asking | None, owner: type | None = None) -> Any:
        return self._method if depot is None else MethodType(self._method, depot)


def question(answer: Callable[Concatenate[Snapshot, P], A]) -> Question[P, A]:
    """The method that asks `answer`; what cannot be told, and that it tells of people, stands in the answer's notes."""
    return Question(grounded(answer))


def _told(text: str, taken: list[inspect.Parameter]) -> str:
    """A docstring with what else a question takes, before its examples."""
    untold = [each.name for each in taken if not re.search(rf"\b{each.name}\b", text) and each.name in COMMON]
    if not untold:
        return text
    also = "\n".join(["Also taken:", *(f"    {name}: {COMMON[name]}." for name in untold)])
    place = re.search(r"^(Examples\n-+\n)?>>> ", text, re.MULTILINE)
    return f"{text}\n\n{also}" if place is None else f"{text[:place.start()]}{also}\n\n{text[place.start():]}"


def _written(annotation: object) -> Written:
    """A type by its own name, as the sources have it, without the modules it comes from."""
    return Written(ALIASES.get(annotation) or MODULES.sub("", inspect.formatannotation(annotation)))
