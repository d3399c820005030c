"""Dear questions that page, findings and notebooks put again: answered once while a store is open.

What took long is kept beside the store's file, too, so that it is answered once while the store stays what it is.
"""

import inspect
import pickle
from collections.abc import Callable
from dataclasses import fields, replace
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from rqa.answers.core.kept_answers import kept_or_made
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot

P = ParamSpec("P")
A = TypeVar("A", bound=Answer)
KEPT = 64
"""Answers kept while a store is open; of more, those asked first are let go of."""


def asked_once(ask: Callable[Concatenate[Snapshot, P], A]) -> Callable[Concatenate[Snapshot, P], A]:
    """The question, which is worked once for the same arguments, day and store; the tables handed out are copies.

    A store that is open does not change, and what it holds is all that an answer rests on. So what took long is kept
    beside the store's file as well (`rqa.store.kept_beside`), for whoever asks the same of it later.
    """
    signature = inspect.signature(ask)

    @wraps(ask)
    def asked(snapshot: Snapshot, /, *args: P.args, **how: P.kwargs) -> A:
        try:
            given = signature.bind(snapshot, *args, **how)
            given.apply_defaults()
            about = (snapshot.at, snapshot.notes, snapshot.from_rows, list(given.arguments.items())[1:])
            key = pickle.dumps((ask.__module__, ask.__name__, about))
        except (TypeError, AttributeError, pickle.PicklingError):  # the question itself says what is wrong with it
            return ask(snapshot, *args, **how)

        def made() -> Answer:
            return kept_or_made(snapshot, key, lambda: ask(snapshot, *args, **how), Answer)

        return copied(snapshot.store.once("answers", key, made, most=KEPT))  # type: ignore[return-value]

    return asked


def copied(answer: A) -> A:
    """The answer with tables of its own; of the same values, so that it costs nothing."""
    import polars as pl

    held = {f.name: getattr(answer, f.name) for f in fields(answer)}
    copies: dict[str, Any] = {name: part.clone() for name, part in held.items() if isinstance(part, pl.DataFrame)}
    return replace(answer, **copies)
