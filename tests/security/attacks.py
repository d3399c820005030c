"""Hostile SQL for a mapping: ways to a file, the environment, a server or a second statement, and ways to hide them."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import duckdb


@dataclass(frozen=True)
class Canary:
    """What must stay unread and unchanged: a file's path, a variable of the environment, an address of a server."""

    path: str
    variable: str
    address: str


def readers(canary: Canary) -> list[str]:
    """FROM items that would read the canary file: every function that makes rows, found in the engine, and the file."""
    with duckdb.connect() as engine:
        found = engine.execute(
            "select distinct function_name from duckdb_functions() where function_type in ('table', 'table_macro') "
            "order by 1"
        ).fetchall()
    harmless = {"unnest", "range", "generate_series", "json_each", "repeat", "repeat_row"}
    calls = [f"{name}('{canary.path}')" for (name,) in found if name not in harmless]
    return [
        *calls,
        f"'{canary.path}'",
        f'"{canary.path}"',
        f"read_csv('{canary.address}/x.csv')",
        f"read_text(['{canary.path}'])",
        f"READ_TEXT('{canary.path}')",
        f"\"read_text\"('{canary.path}')",
        f"main.read_text('{canary.path}')",
        f"system.main.read_text('{canary.path}')",
        f"read_text(\n/* ' */'{canary.path}' -- )\n)",
        f"read_text($${canary.path}$$)",
        f"read_text('{canary.path[:3]}' || '{canary.path[3:]}')",
        f"query('select * from read_text(''{canary.path}'')')",
        "information_schema.tables",
        "duckdb_tables",
        "sqlite_master",
        "pg_catalog.pg_settings",
        "temp.main.x",
        "jobs",
        "main.jobs",
    ]


def statements(canary: Canary) -> list[str]:
    """Second statements that would write, attach, fetch or change the engine."""
    out = canary.path + ".out"
    return [
        f"copy (select 1) to '{canary.path}'",
        f"copy (select 1) to '{out}' (use_tmp_file false)",
        f"attach '{out}' as other",
        f"export database '{out}'",
        f"import database '{out}'",
        "install httpfs",
        f"install httpfs from '{canary.address}'",
        f"load '{canary.path}'",
        f"set custom_extension_repository = '{canary.address}'",
        "set enable_external_access = true",
        "set global lock_configuration = false",
        "pragma enable_profiling = 'json'",
        "call pragma_version()",
        "create table main.other as select 1",
        "create macro trim(x) as 'changed'",
        "create secret s (type s3)",
        "drop table main.jobs",
        "delete from main.jobs",
        "insert into main.jobs select * from main.jobs",
        "checkpoint",
        f"set temp_directory = '{out}'",
        "prepare p as select 1",
        "detach depot",
        "use memory",
        "vacuum",
    ]


def expressions(canary: Canary) -> Iterator[str]:
    """Hostile expressions over the columns of a row."""
    for item, shape in itertools.product(
        readers(canary),
        ("(select max(x::varchar) from {} as t(x))", "case when exists (from {}) then 'a' else 'b' end"),
    ):
        yield shape.format(item)
    read = f"read_text('{canary.path}')"
    yield from (
        f"(with recursive r as (select 1 as n union all select n + 1 from r) select count(*) from r, {read})",
        f"(select content from (values (1)) v, lateral (select content from {read}))",
        f"id in (select content from {read})",
        f"(select content from {read} as t order by (select count(*) from '{canary.path}') limit 1)",
        f"list_transform([1], lambda x: (select content from {read}))[1]",
        f"(select * from (select * from (select * from (select content from {read}))))",
        f"(select first(content) filter (where (select count(*) from {read}) > 0) from {read})",
        f"(select content from {read} union select 'x' limit 1)",
        f"max(id) over (order by (select content from {read}))",
        f"'{canary.path}'.read_text()",
        f"getenv('{canary.variable}')",
        f"GetEnv('{canary.variable}')",
        f"\"getenv\"('{canary.variable}')",
        f"main.getenv('{canary.variable}')",
        f"getvariable('{canary.variable}')",
        "current_setting('allowed_paths')::varchar",
        "(select current_date)",
        "(select max(t.a || user) from (values (id)) t(a))",
        "(select count(*) from range(9) tablesample 3)",
        "nextval('s')",
        "sleep_ms(100000)::varchar",
        "write_log('x')",
        "json_execute_serialized_sql('x')",
        "(select count(*) from source)",
        '(select count(*) from "named log")',
        "?",
        "$1",
        "id /*",
        "id */ --",
        "sum(1)",
        "unnest([1, 2])",
        "*",
        "id, id",
        "id as job_id",
        "id from source",
        "",
    )
    for second, closing in itertools.product(
        statements(canary), ("id; {}", "id)::varchar as job_id from source; {}; select (1", "id); {} --")
    ):
        yield closing.format(second)


def selects(canary: Canary, named: str) -> Iterator[str]:
    """Hostile SELECTs over one set of named files."""
    for item in readers(canary):
        yield f"select id as job_id from {named}, {item}"
    read = f"read_text('{canary.path}')"
    yield from (
        f"with {named}2 as (select * from {read}) select * from {named}, {named}2",
        f"with jobs as (select * from jobs) select * from jobs, {named}",
        f"with a as (select * from jobs), jobs as (select 1) select * from a, {named}",
        f"select * from jobs, (with jobs as (select 1) select * from jobs), {named}",
        f"select * from {named} union all by name (from {read})",
        f"select * from {named} semi join {read} on true",
        f"select *, (select content from {read}) as job_id from {named}",
        f"select * from {named} where exists (select * from '{canary.path}')",
        f"select * from {named} qualify row_number() over (order by (select content from {read})) > 0",
        f"from {named} select getenv('{canary.variable}') as job_id",
        f"select *, current_timestamp as opened_at from {named}",
        f"select * from {named} where opened_at < localtime",
        f"select * from (select user as technician from {named})",
        f"select * from {named} tablesample 10%",
        f"select * from {named} tablesample reservoir(5 rows) repeatable (7)",
        f"select * from {named} using sample 1",
        f"with a as (from {named} using sample 50%) from a",
        f"describe {named}",
        f"summarize {named}",
        f"select * from (pivot {named} on id)",
        f"explain select * from {named}",
        f"values (1) -- {named}",
    )
    for second in statements(canary):
        yield f"select * from {named}; {second}"
        yield f"select * from {named}) ; {second}; select * from ({named}"
