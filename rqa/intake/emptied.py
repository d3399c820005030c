"""What the SQL of a mapping turns into nothing: the source has a value, and the expression gives none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rqa.intake.column_source import ColumnSource
from rqa.intake.guard import Guard, drawn_on
from rqa.intake.literals import literal
from rqa.intake.names import inner, quoted
from rqa.intake.sources import TextSource
from rqa.intake.values import SPACES

EMPTIED_TYPE = "STRUCT(column_name VARCHAR, given VARCHAR)[]"
SHOWN = 60
"""Characters of a value that are shown as an example."""


@dataclass(frozen=True)
class Emptied:
    """One column that SQL gives, as SQL: its name's mark, whether a row has lost a value there, what was given."""

    column: str
    name: str
    condition: str
    given: str


def emptied_by_sql(given: Mapping[str, ColumnSource], text: TextSource, row: str, guard: Guard) -> list[Emptied]:
    """The columns whose SQL draws on columns of the source; `row` is what a row of the source is called in SQL."""
    kept = guard.kept(given, text)
    found = []
    for column, origin in given.items():
        drawn = drawn_on(origin.sql, text.columns) if origin.sql is not None else []
        if drawn:
            nothing = f"nullif(trim((\n{origin.sql}\n)::varchar, {literal(SPACES)}), '') is null"
            any_given = " or ".join(f"{row}.{quoted(c)} is not null" for c in drawn)
            found.append(
                Emptied(column, inner(f"emptied {column}"), f"({nothing} and ({any_given}))", _shown(drawn, kept))
            )
    return found


def _shown(drawn: Sequence[str], kept: Sequence[str]) -> str:
    """SQL for the values that were given, as they stand in the kept row; names that become pseudonyms are not shown."""
    whole = inner("row")
    said = [
        f"case when {whole}.{quoted(c)} is not null then {literal(c + ' = ')} || left({whole}.{quoted(c)}, {SHOWN}) end"
        for c in drawn
        if c in kept
    ]
    return f"concat_ws(', ', {', '.join(said)})" if said else "''"


def told_emptied(found: Sequence[Emptied]) -> str:
    """SQL for the list of what a row has lost; NULL when nothing."""
    if not found:
        return f"null::{EMPTIED_TYPE}"
    cases = [
        f"case when {e.name} then {{'column_name': {literal(e.column)}, 'given': ({e.given})::varchar}} end"
        for e in found
    ]
    return (
        f"case when {' or '.join(e.name for e in found)} "
        f"then list_filter([{', '.join(cases)}], lambda e: e is not null) end"
    )
