"""The store's tables, made from the contract, and the tables in which a load keeps its books."""

from rqa.contract import TABLES, Table
from rqa.intake.values import SQL_TYPES

FORMAT_VERSION = "16"
"""Raised whenever a store written before can no longer be read; an older store is then loaded anew."""

BOOKS = {
    "about": "name VARCHAR, value VARCHAR",
    "clocks": "site VARCHAR, zone VARCHAR",
    "person_columns": "table_name VARCHAR, column_name VARCHAR",
    "loads": "load_id BIGINT, started_at TIMESTAMP, finished_at TIMESTAMP, rqa_version VARCHAR",
    "load_files": (
        "load_id BIGINT, source_file VARCHAR, table_name VARCHAR, in_file BIGINT, left_out BIGINT, read BIGINT, "
        "accepted BIGINT, refused BIGINT, known BIGINT, superseded BIGINT, merged BIGINT, "
        "replaced BIGINT, withdrawn BIGINT, "
        "digest VARCHAR, mapping_digest VARCHAR"
    ),
    "held_files": (
        "place INTEGER, table_name VARCHAR, source_file VARCHAR, derive VARCHAR, repeats BIGINT, gone BOOLEAN"
    ),
    "refused": (
        "load_id BIGINT, table_name VARCHAR, source_file VARCHAR, source_row BIGINT, column_name VARCHAR, "
        "rule VARCHAR, value VARCHAR, raw VARCHAR, job_id VARCHAR"
    ),
    "superseded": (
        "load_id BIGINT, table_name VARCHAR, source_file VARCHAR, source_row BIGINT, by_file VARCHAR, by_row BIGINT, "
        "key_text VARCHAR, content VARCHAR, reason VARCHAR"
    ),
    "remarks": (
        "load_id BIGINT, table_name VARCHAR, source_file VARCHAR, remark VARCHAR, value VARCHAR, rows BIGINT, "
        "first_row BIGINT"
    ),
}


def columns(table: Table) -> list[tuple[str, str]]:
    """A contract table's columns as stored, (name, SQL type): the contract's, the days, where the row came from."""
    return [
        *((c.name, SQL_TYPES[c.kind]) for c in table.columns),
        *((day, "DATE") for day, _ in table.days),
        ("source_file", "VARCHAR"),
        ("source_row", "BIGINT"),
    ]


def create_statements() -> list[str]:
    """SQL that makes every table of an empty store."""
    made = [f"create table {t.name} ({', '.join(f'{n} {k}' for n, k in columns(t))})" for t in TABLES.values()]
    return made + [f"create table {name} ({body})" for name, body in BOOKS.items()]
