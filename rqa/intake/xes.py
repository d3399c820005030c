"""Event logs in XES, the open standard IEEE 1849: each event becomes a line of JSON, with what its trace says.

The attributes of an event keep their keys, such as `concept:name` and `time:timestamp`; those of its trace stand
behind "trace ", as `trace concept:name`. Attributes within attributes, lists and what holds for the whole log are
passed over.
"""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import IO
from xml.parsers import expat

from rqa.errors import SourceError
from rqa.intake.sources import MOST_COLUMNS, SourceFile, pieces

PLAIN = ("string", "date", "int", "float", "boolean", "id")
"""The elements of the standard that hold one value."""
OF_TRACE = "trace "
DEEPEST = 64
"""Elements within each other that are followed; the standard needs a handful."""
LONGEST = 1 << 20
"""Characters of one key or value."""
MOST_EVENTS = 500_000
"""Events of one trace, which are held until it ends."""
MOST_TIMES, SMALL = 60, 100 << 20
"""How many times the size of the log its events may have, each with what its trace says, beyond a small size."""


class _NoXesError(ValueError):
    """Why a file is no log in XES."""


def write_events(source: SourceFile, target: Path) -> None:
    """Write each event of a log as a line of JSON.

    Raises `SourceError` for what is no XML, no log, declares entities, or holds more attributes than columns are read.
    """
    with target.open("w", encoding="utf-8", newline="") as out:
        try:
            _Log(out).take(pieces(source))
        except (expat.ExpatError, _NoXesError) as error:
            said = "" if source.sealed else f": {error}"
            raise SourceError(
                f"{source.label}: is no event log in XES (IEEE 1849){said}. Export it anew, or as CSV. "
                "Nothing was loaded."
            ) from None


class _Log:
    """Follows the elements of one log."""

    def __init__(self, out: IO[str]) -> None:
        self.out = out
        self.open: list[str] = []
        self.trace: dict[str, str] = {}
        self.event: dict[str, str] | None = None
        self.waiting: list[dict[str, str]] = []
        """Events of the trace that is open: an attribute of the trace may stand behind them."""
        self.keys: set[str] = set()
        self.read, self.written = 0, 0

    def take(self, parts: Iterable[bytes]) -> None:
        parser = expat.ParserCreate()
        parser.StartElementHandler, parser.EndElementHandler = self._begin, self._end
        parser.EntityDeclHandler = self._entity
        for part in parts:
            self.read += len(part)
            parser.Parse(part, False)
        parser.Parse(b"", True)

    def _entity(self, *_: object) -> None:
        # An entity that names others can stand for any amount of text.
        raise _NoXesError("it declares entities, which no log needs")

    def _begin(self, name: str, given: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        if not self.open and name != "log":
            raise _NoXesError(f"its first element is {name[:40]!r}, not 'log'")
        above = self.open[-1] if self.open else ""
        self.open.append(name)
        if len(self.open) > DEEPEST:
            raise _NoXesError("its elements stand too deep within each other")
        if name == "trace" and above == "log":
            self.trace = {}
        elif name == "event" and above in ("trace", "log"):
            if above == "log":
                self.trace = {}
            self.event = {}
        elif name in PLAIN and "key" in given and "value" in given and above in ("trace", "event"):
            self._note(above, given["key"], given["value"])

    def _note(self, above: str, key: str, value: str) -> None:
        held = self.trace if above == "trace" else self.event
        key = f"{OF_TRACE}{key}" if above == "trace" else key
        if held is None:
            return
        if len(key) + len(value) > LONGEST:
            raise _NoXesError(f"an attribute has more than {LONGEST:,} characters")
        self.keys.add(key)
        if len(self.keys) > MOST_COLUMNS:
            raise _NoXesError(f"it has more than {MOST_COLUMNS} attributes, and no more are read")
        held.setdefault(key, value)

    def _end(self, name: str) -> None:
        name = name.rpartition(":")[2]
        self.open.pop()
        if name == "event" and self.event is not None and self.open[-1:] in (["trace"], ["log"]):
            self.waiting.append(self.event)
            self.event = None
            if len(self.waiting) > MOST_EVENTS:
                raise _NoXesError(f"a trace has more than {MOST_EVENTS:,} events")
        if self.waiting and (name == "trace" or self.open == ["log"]):
            for event in self.waiting:
                line = json.dumps(self.trace | event, ensure_ascii=False)
                self.written += len(line)
                if self.written > max(SMALL, MOST_TIMES * self.read):
                    raise _NoXesError("its traces say too much that every event would repeat")
                self.out.write(line + "\n")
            self.waiting = []
