"""The errors of this package: each says what was asked for, which rule broke, and one next step."""


class RqaError(Exception):
    """Base of every error meant for a user; the command line prints it in one piece and exits with 1."""


class MappingError(RqaError):
    """`sources.toml` cannot be used as written; lists every fault found, each with its place in the file."""


class SourceError(RqaError):
    """A source file cannot be read at all (missing, truncated, wrong format); nothing was loaded."""


class StoreError(RqaError):
    """The store cannot be opened, is locked, is of another version, or a query failed in the engine."""


class RequestError(RqaError, ValueError):
    """A question asked of the depot names a grouping, filter, measure or period that does not exist."""
