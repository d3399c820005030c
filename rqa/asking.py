"""How a depot takes a question: an answer's own function, which carries the only signature and the only docstring."""

import inspect
from collections.abc import Callable
from functools import wraps
from types import MethodType
from typing import Any, ClassVar, Concatenate, Generic, ParamSpec, Protocol, Self, TypeVar, overload

from rqa.answers.core.needs import grounded
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Moment
from rqa.errors import RequestError

P = ParamSpec("P")
R = TypeVar("R")
A = TypeVar("A", bound=Answer)


class Asking(Protocol):
    """What has a moment at which questions are asked: a depot, or one of its areas."""

    _now: Moment


class Area:
    """Some of a depot's questions, asked at its moment."""

    def __init__(self, now: Moment) -> None:
        self._now = now

    def __repr__(self) -> str:
        asked = ", ".join(name for name, kept in vars(type(self)).items() if isinstance(kept, Question))
        return f"<{(type(self).__doc__ or '').splitlines()[0].rstrip('.')}: {asked}>"


class Question(Generic[P, R]):
    """A function of a moment as a method: what it takes after the moment is what the method takes.

    A question that asks others answers for what is wrong with its arguments in its own name.
    """

    asked: ClassVar[set[str]] = set()
    """The names of all questions, as they begin errors."""

    def __init__(self, ask: Callable[Concatenate[Moment, P], R]) -> None:
        Question.asked.add(ask.__name__)

        @wraps(ask)
        def method(self: Asking, /, *args: P.args, **how: P.kwargs) -> R:
            try:
                return ask(self._now, *args, **how)
            except RequestError as error:
                name, colon, said = str(error).partition(": ")
                if not colon or name == ask.__name__ or name not in Question.asked:
                    raise
                raise RequestError(f"{ask.__name__}: {said}") from error

        own = inspect.signature(ask)
        rest = list(own.parameters.values())[1:]
        first = inspect.Parameter("self", inspect.Parameter.POSITIONAL_OR_KEYWORD)
        vars(method)["__signature__"] = own.replace(parameters=[first, *rest])
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


def question(answer: Callable[Concatenate[Moment, P], A]) -> Question[P, A]:
    """The method that asks `answer`; what cannot be told, and that it tells of people, stands in the answer's notes."""
    return Question(grounded(answer))
