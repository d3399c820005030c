"""The tables a load keeps, so that a question asked again costs a look-up: links and counts, each made by one file.

A load that changes few jobs brings them up to date: the same files are run over the rows of those jobs alone, as they
were before the load and as they are now, and the difference is booked. The result is that of making them anew.
"""

import hashlib
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rqa.errors import StoreError
from rqa.measures.kept_empty import COLUMNS, RESTS_ON
from rqa.measures.run import concepts, measure_sql
from rqa.store.concepts import Concept, forget_concepts, make_concepts

if TYPE_CHECKING:
    import duckdb

WORKING = ("job_sequence", "unclean_attempts", "lost_jobs", "turn_records")
"""Made on the way and dropped again."""

PLANS = ("declared_steps", "procedure_plan", "order_rules", "connector_ends")
"""Concepts of what procedures ask for, worked out once for all kept tables: views that are read many times."""

SHARED = {"record_steps": ("record", "job_turns")}
"""Kept tables of what many rows of another share, by the column in which these name it."""

ROWS = {
    "overlapping_jobs": "unit_id", "links": "unit_id", "unclean_tests": "job_id", "unclean_runs": "job_id",
    "job_logs": "job_id", "decided_values": "job_id",
    "mixed_checks": "job_id", "returned_jobs": "unit_id", "unit_courses": "unit_id",
    "job_turns": "job_id", "job_breaches": "job_id", "failed_attempts": "job_id",
}
"""Kept tables with a row a job or a thing of it, and what is known of all: rows of a unit depend on its jobs alone.

Where there can be rows of a log without a job, they are known by the job."""

OF_ROWS = (
    "declared_steps", "step_subsystems", "procedure_plan", "battery_order", "order_rules", "connector_ends",
    "breaches_by_rows", "fitted_lots", "attempts_of_jobs",
    "attempts_until", "runs_until", "runs_of_jobs", "first_checks", "first_runs", "failed_first_runs", "unpassed_tests",
    "work_ended", "outdated_tests", "released_jobs", "usual_tests", "kinds_of_work", "job_kinds", "checked_steps",
    "clean_checks", "set_aside", "lots_set_aside", "kind_chances", "marked_attempts",
)
"""Concepts of the rows, in the order in which they build on each other; kept tables may draw on them."""

OF_KEPT = (
    "index_jobs", "matured_jobs", "comeback_jobs", "followed_jobs", "followed_upto", "followed_counts",
    "unit_histories", "failure_marks", "failure_signatures", "usual_spans", "index_turns", "jobs_cut_off",
    "breaches_cut_off",
)
"""Concepts that draw on kept tables."""

COUNTS = {
    "comeback_counts": ("jobs",),
    "step_counts": ("exposures", "passed", "failed", "done", "skipped"),
    "test_counts": ("exposures", "passed", "failed", "aborted"),
    "clean_counts": ("jobs", "clean"),
    "held_rows": ("rows",),
    "value_counts": ("first", "every"),
    "limit_days": ("runs",),
    "station_readings": ("readings",),
    "passed_values": ("jobs",),
    "given_costs": ("minutes", "parts", "freight"),
    "site_days": ("jobs", "logged", "touched", "tested", "returned", "found"),
}
"""Kept tables of counts that are sums over jobs or units: their columns that count."""

WHOLE = ("retired_jobs", "held_beside_logs", "possible_breaches")
"""Kept tables that each load makes anew, as that takes no time."""

KEPT = (*SHARED, *ROWS, *COUNTS, *WHOLE)
"""The kept tables, in the order in which they build on each other; each is the result of `keep_<name>.sql`."""

LOGS = ("jobs", "steps", "diagnostics", "parts")
"""What they are made from, job by job."""
DECLARED = ("procedures", "tests", "pairings")
"""A change of these concerns all jobs."""

FEW = 0.02
"""The share of the jobs up to which bringing up to date costs less than making anew."""


def keep_sql(name: str) -> str:
    """The SELECT behind one kept or working table."""
    return measure_sql(f"keep_{name}")


def keep(connection: "duckdb.DuckDBPyConnection", before: str | None = None) -> None:
    """Make the kept tables, or bring them up to date, from the rows; and the concepts that questions draw on.

    `before` is the name under which the store as it was before the load is attached, None if there was none. The jobs
    that the load changed stand in the temporary table `touched` then.
    """
    import duckdb

    try:
        new = not _has_concepts(connection)
        if new:
            forget_concepts(connection)
            make_concepts(connection, _concepts(OF_ROWS))
        # Of the same rows the same is kept.
        if before is None or not _is_kept(connection, before) or _any_touched(connection):
            _keep_of_rows(connection, before)
        if new:
            make_concepts(connection, _concepts(OF_KEPT))
        connection.execute("delete from about where name in ('kept_by', 'concepts_by')")
        connection.execute(
            "insert into about values ('kept_by', ?), ('concepts_by', ?)", [edition(), _edition_of_concepts()]
        )
    except duckdb.Error as error:
        raise StoreError(f"the kept tables could not be made: {error}") from error


def _keep_of_rows(connection: "duckdb.DuckDBPyConnection", before: str | None) -> None:
    none = _without_rows(connection)
    for name in PLANS:
        # A temporary table hides the store's view of the same name.
        made = f"({COLUMNS[name]})" if name in none else f"as from main.{name}"
        connection.execute(f"create or replace temp table {name} {made}")
    if before is not None and _is_kept(connection, before) and _few(connection, before):
        _bring_up_to_date(connection, before)
    else:
        _run(connection, "main", none)
    for name in PLANS:
        connection.execute(f"drop table temp.{name}")


def _any_touched(connection: "duckdb.DuckDBPyConnection") -> bool:
    return connection.execute("select exists (from temp.touched)").fetchall() == [(True,)]


def _without_rows(connection: "duckdb.DuckDBPyConnection") -> frozenset[str]:
    """The tables that have no row, as what they rest on has none; names mean what they mean to the connection now."""
    logs = sorted({log for needs in RESTS_ON.values() for log in _named(needs)})
    (found,) = connection.execute(f"select {', '.join(f'exists (from {log})' for log in logs)}").fetchall()
    there = {log for log, some in zip(logs, found, strict=True) if some}
    return frozenset(
        name for name, needs in RESTS_ON.items() if not all(there & _named(need) for need in needs.split(", "))
    )


def _named(needs: str) -> set[str]:
    return set(needs.replace(" or ", ", ").split(", "))


def keep_of_bucket(connection: "duckdb.DuckDBPyConnection") -> None:
    """Make the kept tables of rows that are a part of a store's, where views may stand for the tables of the rows."""
    make_concepts(connection, _concepts(OF_ROWS))
    _keep_of_rows(connection, None)


def make_all_concepts(connection: "duckdb.DuckDBPyConnection") -> None:
    """Make the concepts that questions draw on, where the rows and the kept tables are there already."""
    make_concepts(connection, _concepts(OF_ROWS + OF_KEPT))


def _concepts(names: Sequence[str]) -> list[Concept]:
    return [concepts()[name] for name in names]


def edition() -> str:
    """Changes whenever one of the files does from which the kept tables are made."""
    return _digest([*(keep_sql(n) for n in (*WORKING, *KEPT)), *(c.statement for c in _concepts(OF_ROWS))])


def _edition_of_concepts() -> str:
    """Changes whenever one of the concepts does, or its header."""
    return _digest([part for c in _concepts(OF_ROWS + OF_KEPT) for part in (c.header, c.statement)])


def _digest(texts: Iterable[str]) -> str:
    return hashlib.sha256("".join(texts).encode()).hexdigest()[:16]


def _has_concepts(connection: "duckdb.DuckDBPyConnection") -> bool:
    """Whether the store holds the concepts as they are defined now."""
    found = connection.execute("select value from main.about where name = 'concepts_by'").fetchall()
    return found == [(_edition_of_concepts(),)]


def _is_kept(connection: "duckdb.DuckDBPyConnection", before: str) -> bool:
    """Whether the store before the load had kept tables made by these files."""
    found = connection.execute(f"select value from {before}.main.about where name = 'kept_by'").fetchall()
    return found == [(edition(),)]


def _run(connection: "duckdb.DuckDBPyConnection", home: str, none: frozenset[str]) -> None:
    """Make every kept table ("main") or a temporary one in its stead ("temp"), from what plain names mean.

    Those of `none` have no row.
    """
    for name in (*WORKING, *KEPT):
        place = f"temp table temp.{name}" if home == "temp" or name in WORKING else f"table main.{name}"
        made = f"({COLUMNS[name]})" if name in none else f"as {keep_sql(name)}"
        connection.execute(f"create or replace {place} {made}")
    for name in WORKING:
        connection.execute(f"drop table temp.{name}")


def _few(connection: "duckdb.DuckDBPyConnection", before: str) -> bool:
    """Whether the load changed few jobs; lists these, with all other jobs of their units, in `concerned`."""
    tables = ", ".join(f"'{t}'" for t in (*LOGS, *DECLARED))
    named = f"select job_id from temp.touched where table_name in ({tables})"
    ((everything, changed),) = connection.execute(
        f"select coalesce(bool_or(job_id is null), false), count(distinct job_id) from ({named})"
    ).fetchall()
    ((jobs,),) = connection.execute("select count(*) from main.jobs").fetchall()
    if everything or changed > FEW * jobs:
        return False
    sides = ("main", f"{before}.main")
    units = " union ".join(f"select unit_id from {s}.jobs semi join ({named}) using (job_id)" for s in sides)
    connection.execute(f"create or replace temp table concerned_units as {units}")
    theirs = [f"select job_id from {s}.jobs semi join concerned_units using (unit_id)" for s in sides]
    connection.execute(f"create or replace temp table concerned as {' union '.join([named, *theirs])}")
    return True


def _rows_of_concerned(connection: "duckdb.DuckDBPyConnection", before: str) -> None:
    """Make `now_rows_<log>` and `then_rows_<log>`: the rows of the jobs concerned, as they are and as they were.

    Those of a job that the load did not touch in this log are the same, so they are looked for once.
    """
    for log in LOGS:
        touched = f"(select distinct job_id from temp.touched where table_name = '{log}')"
        _rows_of(connection, "main", log, "concerned", f"now_rows_{log}")
        _rows_of(connection, f"{before}.main", log, touched, f"then_rows_{log}")
        connection.execute(
            f"insert into then_rows_{log} select * from now_rows_{log} as n anti join {touched} as t using (job_id)"
        )


def _rows_of(connection: "duckdb.DuckDBPyConnection", home: str, log: str, jobs: str, made: str) -> None:
    """Make the table `made` of the rows of these jobs. Row ids come first: that reads one column of all rows."""
    connection.execute(
        f"create or replace temp table sought as select l.rowid as row_id from {home}.{log} as l "
        f"semi join {jobs} as j using (job_id)"
    )
    connection.execute(
        f"create or replace temp table {made} as select * from {home}.{log} where rowid in (select row_id from sought)"
    )
    connection.execute("drop table sought")


def _bring_up_to_date(connection: "duckdb.DuckDBPyConnection", before: str) -> None:
    _rows_of_concerned(connection, before)
    for side in ("then", "now"):
        # A temporary table hides the store's table of the same name.
        for log in LOGS:
            connection.execute(f"alter table temp.{side}_rows_{log} rename to {log}")
        _run(connection, "temp", _without_rows(connection))
        for name in KEPT:
            connection.execute(f"alter table temp.{name} rename to {side}_{name}")
        for log in LOGS:
            connection.execute(f"drop table temp.{log}")
    for name, known_by in ROWS.items():
        theirs = "concerned" if known_by == "job_id" else "concerned_units"
        connection.execute(f"delete from main.{name} where {known_by} in (select {known_by} from {theirs})")
        connection.execute(f"insert into main.{name} select * from now_{name}")
    for name, (key, rows) in SHARED.items():
        used = f"select {key} from main.{rows} where {key} is not null"
        connection.execute(
            f"delete from main.{name} where {key} in (select {key} from then_{name}) and {key} not in ({used})"
        )
        connection.execute(
            f"insert into main.{name} select * from now_{name} where {key} not in (select {key} from main.{name})"
        )
    for name, counted in COUNTS.items():
        _book(connection, name, counted)
    for name in WHOLE:
        connection.execute(f"create or replace table main.{name} as {keep_sql(name)}")
    for name in KEPT:
        connection.execute(f"drop table temp.then_{name}")
        connection.execute(f"drop table temp.now_{name}")
    connection.execute("drop table concerned")
    connection.execute("drop table concerned_units")


def _book(connection: "duckdb.DuckDBPyConnection", name: str, counted: tuple[str, ...]) -> None:
    """Add to one table of counts what has come, take off what has gone; a group without any count goes."""
    names = [column.split(" ")[0] for column in COLUMNS[name].split(", ")]
    groups = [column for column in names if column not in counted]
    columns, keys = ", ".join(names), ", ".join(groups)
    less = ", ".join(f"-{c} as {c}" if c in counted else c for c in names)
    sums = ", ".join(f"cast(sum({c}) as bigint) as {c}" if c in counted else c for c in names)
    some = " or ".join(f"sum({c}) <> 0" for c in counted)
    connection.execute(
        f"create or replace temp table difference as select {sums} from "
        f"(select {columns} from now_{name} union all select {less} from then_{name}) group by {keys} having {some}"
    )
    same = " and ".join(f"t.{g} is not distinct from d.{g}" for g in groups)
    connection.execute(
        f"create or replace temp table stood as select t.rowid as row_id, t.* from main.{name} as t "
        f"where exists (select 1 from difference as d where {same})"
    )
    connection.execute(f"delete from main.{name} where rowid in (select row_id from stood)")
    connection.execute(
        f"insert into main.{name} select {sums} from (select {columns} from difference union all "
        f"select {columns} from stood) group by {keys} having {some}"
    )
    connection.execute("drop table difference")
    connection.execute("drop table stood")
