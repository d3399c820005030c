"""The books of a load: which files it read and what became of their rows, kept in the store and told in the report."""

from collections import Counter
from collections.abc import Mapping as MappingType
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from rqa.contract import TABLES
from rqa.errors import StoreError
from rqa.intake.entries import site_zones
from rqa.intake.mapping import Mapping
from rqa.store.alarms import alarms
from rqa.store.ddl import FORMAT_VERSION
from rqa.store.empty_files import NO_ROW
from rqa.store.engine import Store, open_store
from rqa.store.order import StoredFile
from rqa.store.planned import SELECT, Plan
from rqa.store.remark_words import EMPTIED_BEGINS
from rqa.store.remarks import NO_JOB, NO_ZONE
from rqa.store.report import FileCount, Refusal, Remark
from rqa.store.staged import Staged

HELD_BACK = "held_back"
"""Under what name the store keeps what was held back from it."""
Outcome = tuple[tuple[FileCount, ...], tuple[Refusal, ...], tuple[Remark, ...], int, tuple[str, ...]]


def one(connection: duckdb.DuckDBPyConnection, sql: str) -> int:
    """The one whole number that a query gives; 0 if it gives no row."""
    # A result that is not fetched to its end keeps the connection busy.
    rows = connection.execute(sql).fetchall()
    return int(rows[0][0]) if rows else 0


def files_loaded(store: Path) -> set[str]:
    """The names of all files that loads of this store have read, those that are gone too."""
    with open_store(store) as opened:
        return set(opened.counts("load_files", "select distinct source_file from load_files")["source_file"])


def held_back(rules: Mapping, store: Store) -> None:
    """Raise `StoreError` for a store that was made when less was held back: what it held then is still in it."""
    more = rules.held_back - set(store.about.get(HELD_BACK, "").split())
    told = [f"names in {c}" for c in more if "." in c and "names" not in more and _any_row(store, c.partition(".")[0])]
    told += [{"copies": "copies of names"}.get(kind, kind) for kind in more if "." not in kind]
    if told:
        raise StoreError(
            f"{store.path} was made before sources.toml said that no {' and no '.join(sorted(told))} may be stored "
            "(key_file, broken_records, find_names), and may still hold some. Delete it, then load the workspace anew."
        )


def _any_row(store: Store, table: str) -> bool:
    """Whether a store holds, or has held, a row of a table."""
    of_books = [f"(select count(*) from main.{book} where table_name = $table)" for book in ("superseded", "refused")]
    sql = f"select (select count(*) from main.{table}) + {' + '.join(of_books)} as n"
    return bool(store.counts("held_back", sql, {"table": table})["n"][0])


@dataclass(frozen=True)
class LastLoad:
    """What the last load made of one file for one table, and by which mapping."""

    digest: str
    mark: str
    in_file: int
    left_out: int
    read: int
    refused: int
    merged: int


def earlier_accounts(connection: duckdb.DuckDBPyConnection) -> dict[str, dict[str, list[LastLoad]]]:
    """The accounts of the last load, by table and file."""
    found: dict[str, dict[str, list[LastLoad]]] = {}
    for table, file, *rest in connection.execute(
        "select table_name, source_file, digest, mapping_digest, in_file, left_out, read, refused, merged "
        "from load_files where load_id = (select max(load_id) from load_files)"
    ).fetchall():
        found.setdefault(table, {}).setdefault(file, []).append(LastLoad(*rest))
    return found


def unchanged(
    items: Sequence[Plan], earlier: MappingType[str, MappingType[str, Sequence[LastLoad]]]
) -> dict[int, LastLoad]:
    """The planned readings whose file and mapping are what they were at the last load, with their account then.

    What several entries make of one file for one table is read again together, as it is kept together.
    """
    found: dict[int, LastLoad] = {}
    for name in {i.entry.table.name for i in items}:
        mine = {n: i for n, i in enumerate(items) if i.entry.table.name == name}
        last = earlier.get(name, {})
        if any(label.startswith(SELECT) for label in last.keys() - {i.label for i in mine.values()}):
            # Rows of a SELECT that is no more may stand in the name of any file.
            continue
        now: dict[str, Counter[tuple[str, str]]] = {}
        for i in mine.values():
            now.setdefault(i.label, Counter())[i.digest, i.fingerprint] += 1
        same = {
            label for label, marks in now.items() if marks == Counter((e.digest, e.mark) for e in last.get(label, ()))
        }
        for n, i in mine.items():
            if i.digest and i.label in same:
                found[n] = next(e for e in last[i.label] if (e.digest, e.mark) == (i.digest, i.fingerprint))
    while True:
        read_again = {(i.entry.table.name, f) for n, i in enumerate(items) if n not in found for f in i.labels}
        more = [n for n in found if any((items[n].entry.table.name, f) in read_again for f in items[n].labels)]
        if not more:
            return found
        for number in more:
            del found[number]


def held_files(connection: duckdb.DuckDBPyConnection) -> dict[str, dict[str, StoredFile]]:
    """What is known of the files whose rows the store holds, by table, in their order."""
    found: dict[str, dict[str, StoredFile]] = {}
    for table, label, *kept in connection.execute(
        "select table_name, source_file, derive, repeats, gone from held_files order by table_name, place"
    ).fetchall():
        found.setdefault(table, {})[label] = StoredFile(*kept)
    return found


def keep_held(connection: duckdb.DuckDBPyConnection, files: MappingType[str, MappingType[str, StoredFile]]) -> None:
    """Write down what is known of the files whose rows the store holds."""
    rows = [
        (place, table, label, kept.derive, kept.repeats, kept.gone)
        for table, of_table in files.items()
        for place, (label, kept) in enumerate(of_table.items())
    ]
    connection.execute("delete from held_files")
    if rows:
        connection.executemany("insert into held_files values (?, ?, ?, ?, ?, ?)", rows)


def keep_books(
    connection: duckdb.DuckDBPyConnection,
    rules: Mapping,
    counts: Sequence[tuple[Staged, FileCount]],
    load_id: int,
    version: str,
    started: datetime,
) -> None:
    """Write down what the load was, and each file's account."""
    about = {
        "format_version": FORMAT_VERSION, "rqa_version": version, "title": rules.workspace.title,
        "currency": rules.workspace.currency,
    }
    if rules.held_back:
        about[HELD_BACK] = " ".join(sorted(rules.held_back))
    if rules.workspace.breach_jobs == "hide":
        about["breach_jobs"] = rules.workspace.breach_jobs
    if rules.workspace.labour_rate is not None:
        about["labour_rate"] = repr(rules.workspace.labour_rate)
    if rules.workspace.least is not None:
        about |= {f"least_{scale}": repr(size) for scale, size in rules.workspace.least.model_dump().items()}
    # What the load keeps for questions is made later; whether the store has the concepts of before is told until then.
    connection.execute("delete from about where name <> 'concepts_by'")
    connection.executemany("insert into about values (?, ?)", list(about.items()))
    connection.execute("delete from person_columns")
    marked = sorted({(entry.table, name) for entry in rules.table for name in entry.people})
    if marked:
        connection.executemany("insert into person_columns values (?, ?)", marked)
    connection.execute("delete from clocks")
    zones = site_zones(rules)
    if zones:
        connection.executemany("insert into clocks values (?, ?)", list(zones.items()))
    connection.execute(
        "insert into loads values (?, ?, ?, ?)", [load_id, started, datetime.now(UTC).replace(tzinfo=None), version]
    )
    rows = [
        (load_id, c.source_file, c.table, c.in_file, c.left_out, c.read, c.accepted, c.refused, c.known, c.superseded,
         c.merged, c.replaced, c.withdrawn, f.digest, f.fingerprint)
        for f, c in counts
    ]
    if rows:
        connection.executemany(f"insert into load_files values ({', '.join('?' * 15)})", rows)


def outcome(connection: duckdb.DuckDBPyConnection, counts: Sequence[FileCount], load_id: int) -> Outcome:
    """What the report tells: each file's account, what is still refused by kind, remarks, the load's number, alarms."""
    refusals = tuple(
        Refusal(table, column or "", rule, rows, file, row, value)
        for table, column, rule, rows, file, row, value in connection.execute(
            "select table_name, column_name, rule, count(*), arg_min(source_file, (source_file, source_row)), "
            "arg_min(source_row, (source_file, source_row)), "
            "arg_min(coalesce(left(value, 60), ''), (source_file, source_row)) "
            "from refused group by all order by count(*) desc, 1, 2, 3"
        ).fetchall()
    )
    first = "(source_file, first_row)"
    an_example = f"remark = '{NO_JOB}' or starts_with(remark, '{EMPTIED_BEGINS}')"
    may_be_lost = f"remark = '{NO_ZONE}' or starts_with(remark, '{EMPTIED_BEGINS}') or starts_with(remark, '{NO_ROW}')"
    remarks = tuple(
        Remark(*row)
        for row in connection.execute(
            # Where no job is known or SQL gave nothing, the value is one of many, not a kind of its own.
            f"select string_agg(distinct table_name, ', ' order by table_name), remark, "
            f"case when remark = '{NO_JOB}' then 'such as ' || min(value) "
            f"else coalesce(arg_min(value, {first}), any_value(value), '') end, sum(rows)::bigint, "
            f"coalesce(min(source_file), ''), coalesce(arg_min(first_row, {first}), 0), count(distinct source_file) "
            f"from remarks where load_id = {load_id} "
            f"group by case when remark <> '{NO_ZONE}' then table_name end, remark, "
            f"case when not ({an_example}) then value end order by {may_be_lost} desc, 4 desc, 1, 2, 3"
        ).fetchall()
    )
    order = {name: i for i, name in enumerate(TABLES)}
    files = tuple(sorted(counts, key=lambda c: order.get(c.table, 99)))
    return files, refusals, remarks, load_id, alarms(connection, files)
