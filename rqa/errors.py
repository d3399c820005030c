"""The errors of this package: each says what was asked for, which rule broke, and one next step."""

from collections.abc import Sequence

from rqa.shown import message
from rqa.words import counted


class RqaError(Exception):
    """Base of every error meant for a user; the command line prints it in one piece and exits with 1.

    A text may name values out of files and stores: what cannot be shown of it is marked, and what is too long is cut.
    """

    def __init__(self, said: str) -> None:
        super().__init__(message(said))


class MappingError(RqaError):
    """`sources.toml` cannot be used as written; lists every fault found, each with its place in the file.

    `faults` are the faults one by one.
    """

    def __init__(self, said: str, faults: Sequence[str] = ()) -> None:
        super().__init__(said)
        self.faults = tuple(map(message, faults)) or (str(self),)

    @classmethod
    def of(cls, faults: Sequence[str], origin: str) -> "MappingError":
        """The error that lists these faults of what `origin` names."""
        lines = [line.replace("\n", "\n    ") for line in faults]
        head = f"{origin} cannot be used ({counted(len(faults), 'fault')}):"
        return cls("\n".join([head, *(f"  - {line}" for line in lines)]), faults)


class SourceError(RqaError):
    """A source file cannot be read at all (missing, truncated, wrong format); nothing was loaded."""


class StoreError(RqaError):
    """The store cannot be opened, is locked, is of another version, or a query failed in the engine."""


class RequestError(RqaError, ValueError):
    """A question asked of the depot names a grouping, filter, measure or period that does not exist."""


class UnknownNameError(RequestError):
    """A grouping, filter or class that a question does not have: `what` it is, and the `names` given."""

    def __init__(self, said: str, what: str = "", names: Sequence[str] = ()) -> None:
        super().__init__(said)
        self.what, self.names = what, tuple(names)
