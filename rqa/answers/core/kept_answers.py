"""Answers as bytes and back, for what is kept beside a store.

A folder may come from a colleague, so what lies beside its store is data and no program: plain values, dates, tables,
and the parts of answers by the names of their classes. Whatever else it holds is passed over, and the answer made anew.
"""

import base64
import io
import json
import re
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from importlib import import_module
from types import MappingProxyType
from typing import Any, TypeVar

from rqa.answers.core.grounds import Sentence
from rqa.answers.core.scope import Snapshot

Made = TypeVar("Made")
DEAR = 0.1
"""Seconds of processor from which on something is kept beside its store."""
OWN = re.compile(r"rqa\.answers(?:\.[a-z_]+)+")
PLAIN = (str, int, float, bool, type(None))


class CannotBeKeptError(Exception):
    """A part that is no plain value, date, table or part of an answer."""


def kept_or_made(snapshot: Snapshot, key: bytes, make: Callable[[], Made], kind: type[Made]) -> Made:
    """What is kept beside the store under a key, else what `make` makes, which is kept where it was dear."""
    content = snapshot.store.kept(key)
    found = None if content is None else restored(content)
    if isinstance(found, kind):
        return found
    begun = time.process_time()
    made = make()
    if time.process_time() - begun >= DEAR:
        with suppress(CannotBeKeptError):
            snapshot.store.keep(key, written(made))
    return made


def written(made: object) -> bytes:
    """An answer, or a part of one, as bytes; raises `CannotBeKeptError`."""
    return json.dumps(_told(made), ensure_ascii=False, separators=(",", ":")).encode("utf-8", "surrogatepass")


def restored(content: bytes) -> object | None:
    """What was written; None where the bytes are not what `written` makes."""
    try:
        return _made(json.loads(content.decode("utf-8", "surrogatepass")))
    except Exception:  # whatever is wrong with the bytes, the answer is made anew
        return None


def _told(part: Any) -> Any:
    """A part as JSON has it: a plain value as it is, anything else as a list of its kind and what it is made of."""
    import polars as pl

    kind = type(part)
    if kind in PLAIN:
        return part
    if kind is tuple or kind is list:
        return [kind.__name__, *map(_told, part)]
    if kind is dict or kind is MappingProxyType:
        name = "dict" if kind is dict else "fixed"
        return [name, *([_told(key), _told(value)] for key, value in part.items())]
    if kind is date or (kind is datetime and part.tzinfo is None and not part.fold):
        return [kind.__name__, part.isoformat()]
    if kind is pl.DataFrame:
        room = io.BytesIO()
        part.write_ipc(room)
        return ["table", base64.b64encode(room.getvalue()).decode("ascii")]
    if kind is Sentence:
        return ["sentence", *map(_told, part.__getnewargs__())]
    if is_dataclass(kind) and _own(kind.__module__, kind.__name__) is kind and all(f.init for f in fields(kind)):
        named = ([f.name, _told(getattr(part, f.name))] for f in fields(kind))
        return ["part", kind.__module__, kind.__name__, *named]
    raise CannotBeKeptError(kind.__name__)


def _made(told: Any) -> Any:
    """The part that `_told` told of."""
    import polars as pl

    if not isinstance(told, list):
        return told
    kind, *rest = told
    if kind == "tuple":
        return tuple(map(_made, rest))
    if kind == "list":
        return list(map(_made, rest))
    if kind == "dict" or kind == "fixed":
        made = {_made(key): _made(value) for key, value in rest}
        return made if kind == "dict" else MappingProxyType(made)
    if kind == "date":
        return date.fromisoformat(rest[0])
    if kind == "datetime":
        return datetime.fromisoformat(rest[0])
    if kind == "table":
        return pl.read_ipc(io.BytesIO(base64.b64decode(rest[0], validate=True)))
    if kind == "sentence":
        return Sentence(*map(_made, rest))
    if kind == "part":
        found = _own(rest[0], rest[1])
        if found is not None:
            return found(**{name: _made(value) for name, value in rest[2:]})
    raise CannotBeKeptError(str(kind))


def _own(module: str, name: str) -> type[Any] | None:
    """The class of a part of an answer; None for anything else."""
    if not OWN.fullmatch(module):
        return None
    found = vars(import_module(module)).get(name)
    return found if isinstance(found, type) and found.__module__ == module and is_dataclass(found) else None
