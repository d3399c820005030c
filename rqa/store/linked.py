"""How the tables hang together: rows of logs with their job, units with several jobs, ids that differ only in form."""

import duckdb

from rqa.intake.literals import literal
from rqa.intake.names import inner
from rqa.store.remarks import JOBLESS
from rqa.store.seen import SeenForm, SeenLink, SeenUnits

FORMS = {
    "signs between their parts": "[^0-9A-Za-z]+",
    "a decimal part of nothing": "[.]0+$",
    "zeros in front": "^0+",
    "letters in front": "^[A-Za-z]+[^0-9A-Za-z]*",
}
"""What may make two ids of one job look unlike, and the pattern of what is left out of both."""
LINES = ("the number of a line at their end", "[-/_.][0-9]{1,3}$")
"""What ids of a log may have beside those of the jobs."""
LEAST = 2
"""Different ids that a form must link before it is told of: one may be chance."""
LEAST_SHARE = 0.1
"""Share of the log's ids without a job that it must link."""
WANTING, IDS = inner("wanting"), inner("ids")


def units(connection: duckdb.DuckDBPyConnection) -> SeenUnits:
    """How many jobs and units there are, and how many of them come again; cancelled jobs are none."""
    row = connection.execute(
        "select coalesce(sum(n), 0)::bigint, count(*), count(*) filter (n > 1), "
        "coalesce(sum(n) filter (n > 1), 0)::bigint from (select count(*) as n from main.jobs "
        "where disposition <> 'cancelled' group by unit_id)"
    ).fetchall()[0]
    return SeenUnits(*row)


def links(connection: duckdb.DuckDBPyConnection) -> list[SeenLink]:
    """For each log that has rows: how many of them, and of their ids, have a job."""
    found = []
    for table in JOBLESS:
        row = connection.execute(
            f"with ids as (select job_id, count(*) as n from main.{table} group by job_id), "
            "known as (select i.*, j.job_id is not null as linked from ids i left join main.jobs j using (job_id)) "
            "select coalesce(sum(n), 0)::bigint, coalesce(sum(n) filter (linked), 0)::bigint, count(*), "
            "count(*) filter (linked), coalesce(min(job_id) filter (not linked), '') from known"
        ).fetchall()[0]
        if row[0]:
            found.append(SeenLink(table, *row))
    return found


def forms(connection: duckdb.DuckDBPyConnection, found: list[SeenLink]) -> list[SeenForm]:
    """For each log with ids that no job has: the change of form that links most of them, if there is one."""
    made = []
    for link in found:
        if link.linked_ids == link.ids:
            continue
        connection.execute(
            f"create or replace temp table {WANTING} as select job_id as id, count(*) as n from main.{link.table} "
            "anti join main.jobs using (job_id) group by job_id"
        ).fetchall()
        tried = [_tried(connection, link.table, what, pattern) for what, pattern in FORMS.items()]
        tried.append(_tried(connection, link.table, *LINES, jobs_too=False))
        good = [f for f in tried if f.ids >= max(LEAST, LEAST_SHARE * (link.ids - link.linked_ids))]
        if good:
            made.append(max(good, key=lambda f: f.ids))
        connection.execute(f"drop table temp.{WANTING}")
    return made


def _tried(
    connection: duckdb.DuckDBPyConnection, table: str, what: str, pattern: str, *, jobs_too: bool = True
) -> SeenForm:
    """How many ids are linked when a pattern is left out of them; none where two jobs would get the same id."""
    def bare(sql: str) -> str:
        return f"regexp_replace({sql}, {literal(pattern)}, '', 'g')"

    of_job = bare("job_id") if jobs_too else "job_id"
    connection.execute(
        f"create or replace temp table {IDS} as select {of_job} as bare, min(job_id) as id, count(*) as jobs "
        "from main.jobs group by all"
    ).fetchall()
    row = connection.execute(
        f"select count(*), coalesce(sum(n), 0)::bigint, coalesce(min(w.id), ''), coalesce(arg_min(i.id, w.id), ''), "
        f"coalesce(bool_or({bare('w.id')} <> w.id), false), coalesce(bool_or(i.bare <> i.id), false), "
        f"coalesce(max(i.jobs), 0) from temp.{WANTING} w join temp.{IDS} i on i.bare = {bare('w.id')} "
        "where i.bare <> ''"
    ).fetchall()[0]
    ids, rows, example, job, of_log, of_jobs, most = row
    clash = most > 1
    return SeenForm(table, what, pattern, of_log, of_jobs, 0 if clash else ids, rows, example, job)
