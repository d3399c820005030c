"""The first rows of each `[[table]]` as they are stored, with the cells of the source that they are made of.

A file that is read line by line is looked at through a copy of its beginning, so that a large one costs no more than a
small one; its rows have the same numbers there.
"""

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from rqa.contract import Column
from rqa.errors import RqaError
from rqa.intake.column_source import ColumnSource
from rqa.intake.entries import wanted_columns
from rqa.intake.guard import NAME, drawn_on
from rqa.intake.names import BROKEN, GIVEN_ROW, LEFT_OUT, PLACE_COLUMNS, inner, quoted
from rqa.intake.quotes import opened
from rqa.intake.sources import SourceFile, TextSource
from rqa.store.engine import TECHNICIAN
from rqa.store.planned import Plan
from rqa.store.readers import LINES, ReadOptions
from rqa.store.seen import STORED, SeenColumn, SeenRows
from rqa.store.select_sources import NamedFiles
from rqa.store.stage import Stager
from rqa.store.validate import fitted, judging_select, numbers_lacking

HEAD_BYTES = 1 << 18
"""Bytes of a file's beginning that are looked at."""
LOOKED_AT = 200
"""Rows among which the first stored ones are looked for."""
TRIED = 3
"""Files of an entry that are looked at, where the first give no row."""
ONE_BYTE = ("utf-8", "ascii", "cp", "latin", "iso8859", "iso-8859", "mac", "koi8")
"""How the names of encodings begin in which a line end is one byte."""
PEOPLE = (TECHNICIAN, "owner", "appraiser")
HIDDEN = "(text)"
"""What stands for a text that may hold a name."""
TAKEN, JUDGED, PLACED = inner("seen"), inner("seen judged"), inner("seen placed")
FILE, ROW, NTH = inner("seen file"), inner("seen row"), inner("nth")


def first_rows(connection: duckdb.DuckDBPyConnection, stager: Stager, items: Sequence[Plan], most: int,
               scratch: Path) -> list[SeenRows]:
    """What the first rows of each entry become; an entry whose files hold no row, or cannot be shown, is left out."""
    found = []
    for number in dict.fromkeys(i.entry.number for i in items):
        for item in [i for i in items if i.entry.number == number][:TRIED]:
            try:
                with stager.bounded(item):
                    one = _of_item(connection, stager, item, most, scratch)
            except (duckdb.Error, RqaError):
                # It is shown beside the report, which tells of what is wrong with it.
                one = None
            finally:
                stager.copies.drop()
            if one is not None:
                found.append(one)
                break
    return found


@dataclass(frozen=True)
class _Row:
    """A row that was looked at: its number there, where it comes from, and what became of it."""

    nth: int
    file: str
    row: int
    state: str


def _of_item(connection: duckdb.DuckDBPyConnection, stager: Stager, item: Plan, most: int,
             scratch: Path) -> SeenRows | None:
    if item.entry.guard.sealed:
        return _stored_alone(connection, item, most)
    heads = [_head(f, scratch / f"head-{item.entry.number}-{n}") for n, f in enumerate(_first_of_sets(item))]
    wanted = wanted_columns(item.entry.spec)
    typed = set[bool]()

    def text_of(source: SourceFile, columns: frozenset[str], options: ReadOptions) -> TextSource:
        text = stager.text_of(source, columns, options)
        typed.add(text.typed)
        few = source.format not in LINES and bool(text.columns)
        return replace(text, scan=f"(select * from {text.scan} limit {LOOKED_AT})") if few else text

    named = NamedFiles(connection, text_of, inner("head"))
    named.bind(heads, item.sets or [f.name for f in heads], wanted)
    named.read(heads, wanted)
    if item.source is None:
        text = stager.select_text(item, named)
    else:
        columns = (*named.columns[item.source.name].values(), *PLACE_COLUMNS)
        scan = f"temp.{named.table(item.source.name)}"
        text = TextSource(columns, scan, {c: quoted(c) for c in columns}, typed=True in typed)
    cells = tuple(c for c in text.columns if c not in PLACE_COLUMNS)
    if not cells:
        return None
    _take(connection, text, cells, in_order=item.source is not None)
    given, _ = fitted(item.entry, replace(text, columns=cells), item.label)
    select = {c: quoted(c) for c in cells} | {PLACE_COLUMNS[1]: f"{NTH}::varchar"}
    taken = replace(text, columns=tuple(select), scan=f"temp.{TAKEN}", select=select)
    entry = replace(item.entry, spec=item.entry.spec.model_copy(update={"select": TAKEN}))
    judging = judging_select(entry, taken, item.label, 0, given)
    connection.execute(f"create or replace temp table {JUDGED} as {judging}").fetchall()
    rows = _with_stored(connection, item, given)
    chosen = ([r for r in rows if r.state == STORED] or rows)[:most]
    return _shown(connection, item, chosen, given, cells) if chosen else None


def _take(connection: duckdb.DuckDBPyConnection, text: TextSource, cells: Sequence[str], *, in_order: bool) -> None:
    """Put the first rows of a reading into a table, numbered, each with its place where that is told."""
    traced = set(PLACE_COLUMNS) <= set(text.columns)
    place = ("source_file::varchar", "try_cast(source_row as bigint)") if traced else ("null::varchar", "null::bigint")
    made = [f"{text.select[c]} as {quoted(c)}" for c in cells]
    made += [f"{sql} as {name}" for sql, name in zip(place, (FILE, ROW), strict=True)]
    order = f"order by {ROW}" if in_order else ""
    connection.execute(
        f"create or replace temp table {TAKEN} as select row_number() over ({order}) as {NTH}, * from "
        f"(select {', '.join(made)} from {text.scan} {order} limit {LOOKED_AT})"
    ).fetchall()


def _with_stored(
    connection: duckdb.DuckDBPyConnection, item: Plan, given: Mapping[str, ColumnSource]
) -> list[_Row]:
    """The rows that were looked at, each put beside the one that is stored of it."""
    table = item.entry.table
    derived = {c.name for c in numbers_lacking(table, given)}
    key = [f"s.{k} is not distinct from j.{k}" for k in table.key if k not in derived]
    placed = [f"(t.{ROW} is null or (s.source_file = t.{FILE} and s.source_row = t.{ROW}))"]
    alike = " + ".join(f"(s.{n} is not distinct from j.{n})::integer" for n in table.names if n not in derived)
    connection.execute(
        f"create or replace temp table {PLACED} as "
        f"select t.{NTH}, coalesce(t.{FILE}, s.source_file) as {FILE}, coalesce(t.{ROW}, s.source_row) as {ROW}, "
        f"s.rowid as stored, j.{BROKEN} as broken, j.{LEFT_OUT} as left_out "
        f"from temp.{TAKEN} as t join temp.{JUDGED} as j on j.{GIVEN_ROW} = t.{NTH} "
        f"left join main.{table.name} as s on {' and '.join([*key, *placed])} "
        f"qualify row_number() over (partition by t.{NTH} order by {alike} desc, s.rowid) = 1"
    ).fetchall()
    found = connection.execute(
        f"select {NTH}, {FILE}, {ROW}, stored is not null, "
        "list_transform(broken, lambda b: concat_ws(': ', b.column_name, b.rule)), left_out "
        f"from temp.{PLACED} order by {NTH}"
    ).fetchall()
    return [_Row(nth, file or item.label, row or nth, STORED if stored else _state(broken, left_out))
            for nth, file, row, stored, broken, left_out in found]


def _state(broken: list[str] | None, left_out: bool) -> str:
    if left_out:
        return "left out by where"
    if broken:
        return "refused: " + "; ".join(broken)
    return "its key comes again, or it is a line of another row"


def _shown(
    connection: duckdb.DuckDBPyConnection, item: Plan, chosen: Sequence[_Row], given: Mapping[str, ColumnSource],
    cells: Sequence[str],
) -> SeenRows:
    table, entry = item.entry.table, item.entry
    numbers = ", ".join(str(r.nth) for r in chosen)
    stored = [_as_text(c, f"s.{c.name}") for c in table.columns]
    found = connection.execute(
        f"select {', '.join([*(f't.{quoted(c)}' for c in cells), *stored])} from temp.{TAKEN} as t "
        f"join temp.{PLACED} as p on p.{NTH} = t.{NTH} left join main.{table.name} as s on s.rowid = p.stored "
        f"where t.{NTH} in ({numbers}) order by t.{NTH}"
    ).fetchall()
    of_source = {c: [_text(row[n]) for row in found] for n, c in enumerate(cells)}
    of_store = {c.name: [_text(row[len(cells) + n], c) for row in found] for n, c in enumerate(table.columns)}
    people = {*PEOPLE, *entry.spec.people}
    used, columns = set[str](), list[SeenColumn]()
    for c in table.columns:
        origin = given.get(c.name)
        if origin is None and not c.numbered:
            continue
        drawn = _drawn(origin, cells)
        used |= set(drawn)
        hide = c.name in people or bool(set(drawn) & entry.guard.names)
        source = [" | ".join(filter(None, (of_source[d][n] for d in drawn))) for n in range(len(found))]
        kept = of_store[c.name]
        if hide:
            source = [NAME if text else "" for text in source]
            kept = kept if origin is not None and origin.key_file else [NAME if text else "" for text in kept]
        columns.append(SeenColumn(c.name, _origin(origin, drawn), tuple(source), tuple(kept)))
    absent = tuple(c.name for c in table.columns if c.name not in given and not c.numbered)
    parents = tuple(f"{c}." for c in cells)
    within = {c for c, p in zip(cells, parents, strict=True) if any(u.startswith(p) for u in used)}
    unused = tuple(c for c in cells if c not in used | within and item.source is not None)
    return SeenRows(table.name, entry.place.split(", ", 1)[1], chosen[0].file, tuple(r.row for r in chosen),
                    tuple(r.state for r in chosen), tuple(columns), unused, absent)


def _stored_alone(connection: duckdb.DuckDBPyConnection, item: Plan, most: int) -> SeenRows | None:
    """The first rows that are stored of a file, without what may hold a name: the source's cells, and texts."""
    table, entry = item.entry.table, item.entry
    keyed = {name for name, o in entry.spec.columns.items() if o.key_file is not None}
    found = connection.execute(
        f"select source_file, source_row, {', '.join(_as_text(c, c.name) for c in table.columns)} "
        f"from main.{table.name} where list_contains($labels, source_file) order by source_row limit {most}",
        {"labels": item.labels},
    ).fetchall()
    if not found:
        return None
    columns = []
    for n, c in enumerate(table.columns, 2):
        texts = [_text(row[n], c) for row in found]
        if not any(texts):
            continue
        if c.kind in ("text", "list") and c.name not in keyed:
            texts = [HIDDEN if text else "" for text in texts]
        columns.append(SeenColumn(c.name, "", ("",) * len(found), tuple(texts)))
    return SeenRows(table.name, entry.place.split(", ", 1)[1], found[0][0], tuple(r[1] for r in found),
                    (STORED,) * len(found), tuple(columns), hidden=True)


def _drawn(origin: ColumnSource | None, cells: Sequence[str]) -> list[str]:
    """The columns of the source that a column is made of."""
    if origin is None or origin.constant is not None:
        return []
    if origin.join:
        return [c for c in origin.join if c in cells]
    if origin.column is not None:
        return [origin.column] if origin.column in cells else []
    return drawn_on(origin.sql or "", cells)


def _origin(origin: ColumnSource | None, drawn: Sequence[str]) -> str:
    """How the mapping gives a column, in a few words."""
    if origin is None:
        return "(counted)"
    if origin.constant is not None:
        return "(always the same)"
    if origin.join or origin.column is not None:
        return " + ".join(drawn) or "(not in this file)"
    return f"SQL: {', '.join(drawn)}" if drawn else "SQL"


def _as_text(column: Column, sql: str) -> str:
    return f"array_to_string({sql}, '; ')" if column.kind == "list" else f"{sql}::varchar"


def _text(value: str | None, column: Column | None = None) -> str:
    """A value as it is shown: a time without seconds that are none, a whole number without its point."""
    if value is None:
        return ""
    if column is not None and column.kind == "time":
        return value.removesuffix(":00")
    return value.removesuffix(".0") if column is not None and column.kind == "number" else value


def _first_of_sets(item: Plan) -> list[SourceFile]:
    """The file, or the first of each set that a SELECT draws on."""
    if item.source is not None:
        return [item.source]
    return [next(f for f in item.named if f.name == name) for name in dict.fromkeys(f.name for f in item.named)]


def _head(source: SourceFile, target: Path) -> SourceFile:
    """A file that holds the first whole lines of one that is read line by line; any other as it is."""
    encoding = codecs.lookup(source.spec.encoding).name
    if source.format not in LINES or not encoding.startswith(ONE_BYTE):
        return source
    with opened(source.path) as stream:
        head = stream.read(HEAD_BYTES)
        if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or not stream.read(1):
            return source
    end = max(head.rfind(b"\n"), head.rfind(b"\r")) + 1
    if not end:
        return source
    target = target.with_suffix("".join(s for s in source.path.suffixes if s != ".gz") or ".txt")
    target.write_bytes(head[:end])
    return replace(source, path=target)
