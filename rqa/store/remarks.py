"""Rows that were accepted and are worth a look: names nobody declared, clocks that were changed, times to come."""

from datetime import datetime

import duckdb

from rqa.contract import GOAL_OF_COMEBACKS, GOALS, TABLES
from rqa.intake.entries import ZONE
from rqa.intake.literals import literal
from rqa.intake.mapping import Mapping
from rqa.intake.names import BROKEN, CLOCK, EMPTIED, LEFT_OUT, UNZONED
from rqa.intake.sources import FRAME
from rqa.store.changed_jobs import TOUCHED
from rqa.store.remark_words import EMPTIED_BEGINS, NO_UNIT_TWICE

FIRST = "count(*), min(source_row)"
UNKNOWN = {
    "unknown step": f"""
        select 'steps', step, {FIRST} from (from {{rows}})
        where step not in (select step from procedures) and exists (select 1 from procedures) group by step""",
    "unknown test": f"""
        select 'diagnostics', test, {FIRST} from (from {{rows}})
        where test not in (select test from tests) and exists (select 1 from tests) group by test""",
    "unknown model": f"""
        select 'jobs', model, {FIRST} from jobs
        where not list_contains($models, model) and len($models) > 0 group by model""",
    "unknown site": f"""
        select 'jobs', site, {FIRST} from jobs
        where not list_contains($sites, site) and len($sites) > 0 group by site""",
    "unknown procedure": f"""
        select 'jobs', procedure, {FIRST} from jobs
        where procedure not in (select procedure from procedures) and exists (select 1 from procedures)
        group by procedure""",
    "goal of no measure that is known": f"""
        select 'targets', measure, {FIRST} from targets
        where not list_contains($goals, measure) and not regexp_full_match(measure, $comebacks) group by measure""",
    "dated after the load": f"""
        select 'jobs', null, {FIRST} from jobs where opened_at > $now or closed_at > $now having count(*) > 0""",
}
SAME_MOMENT = (
    "opened and closed at the same moment as another job of its unit; if these are lines of one visit, give them one "
    'job_id, and their [[table]] lines = "one job"'
)
"""Lines of one visit that were exported as jobs of their own look like this; each counts as the return of another."""
NEVER_CLOSED = "left out of come-back rates, as a job of their unit was never closed"
"""A job open for ever overlaps every later one of its unit; who forgot to close it has to be told."""
OTHER_WORDS = (
    "no subsystem has this name, but a list of subsystems has its words: check what separates it (; , |), "
    "and “values” of the mapping"
)
"""A fault found that no step and no test knows by its name cannot be told from a new one when its unit comes back."""
OF_LOGS = {"unknown step": ("steps", "procedures"), "unknown test": ("diagnostics", "tests")}
"""Remarks on the rows of a log, which is the first table; they rest on nothing else but the other."""
WHOLE_STORE = {
    OTHER_WORDS: """
        with lists as (        -- a list of subsystems, of a step or a test, and the words of its names
            select names, list_transform(names, lambda n: lower(n)).array_to_string(' ').string_split(' ') as words
            from (select distinct subsystems as names from procedures union select distinct [subsystem] from tests)
        ), given as (          -- a name that jobs give
            select v, string_split(lower(v), ' ') as words, count(*) as n, min(r) as r
            from (select unnest([found, complaint]) as v, source_row as r from jobs)
            where v is not null and v not in (select unnest(names) from lists) group by v
        ), words as (          -- a word that some list has
            select unnest(words) as word, names, words from lists
        )
        select 'jobs', given.v || ' (list: ' || array_to_string(min(w.names), '; ') || ')', any_value(n), any_value(r)
        from given join words as w on w.word = given.words[1] and list_has_all(w.words, given.words)
        group by given.v""",
    NEVER_CLOSED: """
        select 'jobs', 'by ' || count(distinct o.job_id) || ' never closed, such as ' || min(o.job_id),
            count(distinct j.job_id), null
        from jobs as o
        join jobs as j on j.unit_id = o.unit_id and j.job_id <> o.job_id
            and (j.opened_at > o.opened_at or coalesce(j.closed_at > o.opened_at, true))
        where o.disposition <> 'cancelled' and o.closed_at is null
            and j.disposition <> 'cancelled' and j.closed_at is not null
        having count(*) > 0""",
    SAME_MOMENT: """
        select 'jobs', min(unit_id), count(*), min(source_row) from (
            select *, count(*) over (partition by unit_id, opened_at, closed_at) as alike from jobs
            where disposition <> 'cancelled' and closed_at is not null
        ) where alike > 1 having count(*) > 0""",
    NO_UNIT_TWICE: """
        select 'jobs', null, count(*), null from jobs where disposition <> 'cancelled'
        having count(*) > 1 and count(*) = count(distinct unit_id)""",
}
OF_UNITS = (NEVER_CLOSED, SAME_MOMENT)
"""Remarks on jobs of a unit that do not fit each other; taking a job away never brings one about."""
SOME_UNIT_TWICE = """
    select 1 from (select unit_id from jobs where disposition <> 'cancelled' limit 50000)
    group by unit_id having count(*) > 1 limit 1"""
"""Gives a row where the first jobs show that some unit appears twice."""
RESTS_ON = {
    "unknown step": ("steps", "procedures"), "unknown test": ("diagnostics", "tests"),
    "unknown procedure": ("jobs", "procedures"), "goal of no measure that is known": ("targets",),
}
"""Tables without rows of which there is nothing to remark on so; the other remarks are on jobs."""
JOBLESS = ("steps", "diagnostics", "parts")
NO_JOB = "no job of that id in the store"
NO_ZONE = f"no zone is set, so times without an offset are read as {ZONE}"
DIFFER = "lines of one job differ in it, and one value was taken"
"""Said of a column of jobs whose lines give several values."""
OF_ROWS = (
    f"(remark like 'clock %' or remark in ('{NO_ZONE}', '{DIFFER}') or remark like '{EMPTIED_BEGINS}%')"
)
"""SQL that is true of a remark on the rows of one file."""
FILE_GONE = "its file is gone from the folder; its rows are kept"
FRAME_GONE = "no frame of its name was handed to this load; its rows are kept"


def write_remarks(connection: duckdb.DuckDBPyConnection, mapping: Mapping, now: datetime, load_id: int) -> None:
    """Write this load's remarks; earlier ones of these kinds are replaced, as they speak of the whole store.

    Where the last load had nothing of a kind to remark on, only rows or units of jobs that this one touched can differ.
    """
    said = set(connection.execute("select distinct table_name, remark from remarks").fetchall())
    touched: dict[str, bool] = dict(connection.execute(
        f"select table_name, bool_or(job_id is null) from temp.{TOUCHED} group by all"
    ).fetchall())

    def rows_of(log: str, beside: str, remark: str) -> str:
        """SQL for the rows of a log that may be remarked on so; `beside` is the table that is looked up for it."""
        if load_id == 1 or (log, remark) in said or touched.get(log) or touched.get(beside):
            return log
        names = f"{literal(log)}, {literal(beside)}"
        jobs = f"select distinct job_id from temp.{TOUCHED} where table_name in ({names})"
        return f"(from main.{log} semi join ({jobs}) using (job_id))"

    kinds = [*UNKNOWN, *WHOLE_STORE, NO_JOB, FILE_GONE, FRAME_GONE]
    connection.execute("delete from remarks where list_contains($kinds, remark)", {"kinds": kinds})
    filled = _filled(connection)
    for remark, sql in {**UNKNOWN, **WHOLE_STORE}.items():
        if not filled.issuperset(RESTS_ON.get(remark, ("jobs",))):
            continue
        known = {"models": mapping.workspace.models, "sites": list(mapping.sites), "now": now,
                 "goals": GOALS, "comebacks": GOAL_OF_COMEBACKS}
        if remark == NO_UNIT_TWICE and connection.execute(SOME_UNIT_TWICE).fetchall():
            continue
        if remark in OF_UNITS and (rows := rows_of("jobs", "jobs", remark)) != "jobs":
            sql = f"with jobs as (from main.jobs semi join {rows} using (unit_id)) {sql}"
        if remark in OF_LOGS:
            sql = sql.format(rows=rows_of(*OF_LOGS[remark], remark))
        needed = {n: v for n, v in known.items() if f"${n}" in sql}
        connection.execute(
            f"insert into remarks select {load_id}, t, null, '{remark}', v, n, r from ({sql}) as found(t, v, n, r)",
            needed,
        )
    gone = connection.execute("select distinct table_name from held_files where gone").fetchall()
    for (table,) in sorted(gone):
        connection.execute(
            f"insert into remarks select {load_id}, '{table}', source_file, case when starts_with(source_file, "
            f"{literal(FRAME)}) then '{FRAME_GONE}' else '{FILE_GONE}' end, source_file, {FIRST} "
            f"from {table} semi join (from held_files where gone and table_name = '{table}') using (source_file) "
            "group by source_file"
        )
    for table in (name for name in JOBLESS if name in filled):
        connection.execute(
            f"insert into remarks select {load_id}, '{table}', source_file, '{NO_JOB}', min(job_id), {FIRST} "
            f"from (from {rows_of(table, 'jobs', NO_JOB)}) anti join jobs using (job_id) group by source_file"
        )


def _filled(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """The tables that have a row: most loads of few files leave most tables empty, and a query takes milliseconds."""
    each = " union all ".join(f"select '{name}' where exists (from {name})" for name in TABLES)
    return {name for (name,) in connection.execute(each).fetchall()}


def write_row_remarks(connection: duckdb.DuckDBPyConnection, table: str, rows: str, load_id: int) -> None:
    """Note what the staged rows of one table, `rows` as SQL for a FROM clause, tell of times and of the mapping's SQL.

    Clock readings in an hour that was skipped or came twice; times without an offset for which no zone is named; values
    of which an SQL expression made nothing, those of refused rows too.
    """
    good = f"{BROKEN} is null and not {LEFT_OUT}"
    ((unzoned, emptied, moved),) = connection.execute(
        f"select bool_or({UNZONED} and {good}), bool_or({EMPTIED} is not null and not {LEFT_OUT}), "
        f"bool_or({CLOCK} is not null and {good}) from {rows}"
    ).fetchall()
    if unzoned:
        connection.execute(
            f"insert into main.remarks select {load_id}, '{table}', source_file, '{NO_ZONE}', null, count(*), "
            f"min(source_row) from {rows} where {UNZONED} and {good} group by all"
        )
    if emptied:
        connection.execute(
            f"insert into main.remarks select {load_id}, '{table}', source_file, "
            f"'{EMPTIED_BEGINS} ' || e.column_name || ' gave nothing where the source has a value', "
            f"arg_min(e.given, source_row), count(*), min(source_row) "
            f"from (select source_file, source_row, unnest({EMPTIED}) as e from {rows} "
            f"where {EMPTIED} is not null and not {LEFT_OUT}) group by source_file, e.column_name"
        )
    if moved:
        connection.execute(
            f"insert into main.remarks select {load_id}, '{table}', source_file, "
            f"case when {CLOCK} like '%skipped' then "
            "'clock skipped (daylight saving), moved on by as much' "
            "else 'clock repeated (daylight saving), read as the second pass' end, "
            f"split_part({CLOCK}, ' ', 1), count(*), min(source_row) from {rows} "
            f"where {CLOCK} is not null and {good} group by all"
        )
