"""Concepts in SQL, each defined once: views and table macros that a load makes in the store.

A definition is a whole statement under a header, `create or replace view NAME as` or `create or replace macro NAME(…)
as table`, which can be pasted into a shell on a store. The store keeps the header beside the concept, as its comment.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.intake.literals import literal
from rqa.intake.names import quoted

if TYPE_CHECKING:
    import duckdb

    from rqa.store.engine import Store

_DEFINED = re.compile(r"^create or replace (?:view (\w+)|macro (\w+)\(([\w, ]*)\)) as(?: table)?\n", re.M)
_PIECES = re.compile(r"'(?:[^']|'')*'|--[^\n]*|/\*.*?\*/|\b(?:from|join)\s+\w+(?:\([^()]*\))?|[$.]?\w+", re.S)
"""What a text is taken apart into: what quotes and remarks hold, what is read from, and words."""
_READ = re.compile(r"(from|join)(\s+)(\w+)(?:\(([^()]*)\))?", re.S)


@dataclass(frozen=True)
class Concept:
    """One view or table macro: its header says what it means, its parameters and what a row is."""

    name: str
    kind: str
    parameters: tuple[str, ...]
    header: str
    body: str

    @property
    def statement(self) -> str:
        """The SQL that defines it."""
        takes = f"({', '.join(self.parameters)})" if self.kind == "macro" else ""
        table = " table" if self.kind == "macro" else ""
        return f"create or replace {self.kind} {quoted(self.name)}{takes} as{table}\n{self.body}"


def concept(text: str) -> Concept | None:
    """The concept that a file defines; None for a file that asks a question."""
    found = _DEFINED.search(text)
    if found is None:
        return None
    view, macro, takes = found.groups()
    header = " ".join(line.removeprefix("--").strip() for line in text[: found.start()].splitlines())
    parameters = tuple(name.strip() for name in takes.split(",")) if takes else ()
    return Concept(view or macro, "view" if view else "macro", parameters, header, text[found.end() :].strip())


def forget_concepts(connection: "duckdb.DuckDBPyConnection") -> None:
    """Take out of a store the concepts that an earlier load made in it."""
    for kind, name in connection.execute(
        "select 'view', view_name from duckdb_views() where database_name = current_database() and not internal "
        "union all select 'macro table', function_name from duckdb_functions() "
        "where database_name = current_database() and function_type = 'table_macro' and not internal"
    ).fetchall():
        connection.execute(f"drop {kind} {quoted(name)}")


def make_concepts(connection: "duckdb.DuckDBPyConnection", concepts: Iterable[Concept]) -> None:
    """Make these concepts in the store, each after those that it draws on."""
    for made in concepts:
        connection.execute(made.statement)
        what = "macro table" if made.kind == "macro" else "view"
        connection.execute(f"comment on {what} {quoted(made.name)} is {literal(made.header)}")


def expanded(sql: str, concepts: Mapping[str, Concept]) -> str:
    """A query with every concept that it reads written out before it, for engines that know no table macros.

    Each becomes a step of the query's own, one for each set of arguments.
    """
    steps: dict[tuple[str, str], str] = {}
    made: list[str] = []

    def step(found: Concept, given: str) -> str:
        key = (found.name, given)
        if key not in steps:
            values = dict(zip(found.parameters, (a.strip() for a in given.split(",")), strict=True)) if given else {}
            body = read(found.body, values)
            number = sum(name == found.name for name, _ in steps)
            steps[key] = f"{found.name}_{number + 1}" if number else found.name
            made.append(f"{steps[key]} as (\n{body}\n)")
        return steps[key]

    def read(text: str, values: Mapping[str, str]) -> str:
        def piece(match: re.Match[str]) -> str:
            named = _READ.fullmatch(match[0])
            if named is None:
                return values.get(match[0], match[0])
            word, space, name, given = named.groups()
            known = concepts.get(name)
            if known is None:
                rest = "" if given is None else "(" + _PIECES.sub(piece, given) + ")"
                return f"{word}{space}{name}{rest}"
            return f"{word}{space}{step(known, _PIECES.sub(piece, given or ''))}"

        return _PIECES.sub(piece, text)

    body = read(sql, {})
    if not made:
        return sql
    own = re.search(r"^with\n", body, re.M)
    if own:
        return body[: own.end()] + ",\n".join(made) + ",\n" + body[own.end() :]
    first = re.search(r"^(?!--)", body, re.M)
    start = first.start() if first else 0
    return body[:start] + "with\n" + ",\n".join(made) + "\n" + body[start:]


def columns_of(store: "Store", name: str, parameters: int | None) -> list[str]:
    """The columns of a view, or of a table macro with so many parameters."""
    given = "" if parameters is None else f"({', '.join(['null'] * parameters)})"
    return store.ask(f"select column_name from (describe select * from {quoted(name)}{given})")["column_name"].to_list()
