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
from rqa.store import kept_tables
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
        new = not kept_tables.is_said(connection, "main", "concepts_by", _edition_of_concepts())
        if new:
            forget_concepts(connection)
            make_concepts(connection, _concepts(OF_ROWS))
        # Of the same rows the same is kept.
        if before is None or not _is_kept(connection, before) or kept_tables.any_touched(connection):
            _keep_of_rows(connection, before)
        if new:
            make_concepts(connection, _concepts(OF_KEPT))
        kept_tables.say(connection, {"kept_by": edition(), "concepts_by": _edition_of_concepts()})
    except duckdb.Error as error:
        raise StoreError(f"the kept tables could not be made: {error}") from error


def _keep_of_rows(connection: "duckdb.DuckDBPyConnection", before: str | None) -> None:
    none = _without_rows(connection)
    for name in PLANS:
        # A temporary table hides the store's view of the same name.
        kept_tables.make(connection, f"temp.{name}", COLUMNS[name] if name in none else None, f"from main.{name}")
    known = before if before is not None and _is_kept(connection, before) else None
    if known is not None and kept_tables.few_touched(connection, known, (*LOGS, *DECLARED), FEW):
        _bring_up_to_date(connection, known)
    else:
        _run(connection, "main", none)
    kept_tables.drop(connection, [f"temp.{name}" for name in PLANS])


def _without_rows(connection: "duckdb.DuckDBPyConnection") -> frozenset[str]:
    """The tables that have no row, as what they rest on has none; names mean what they mean to the connection now."""
    there = kept_tables.with_rows(connection, {log for needs in RESTS_ON.values() for log in _named(needs)})
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


def _is_kept(connection: "duckdb.DuckDBPyConnection", before: str) -> bool:
    """Whether the store before the load had kept tables made by these files."""
    return kept_tables.is_said(connection, f"{before}.main", "kept_by", edition())


def _run(connection: "duckdb.DuckDBPyConnection", home: str, none: frozenset[str]) -> None:
    """Make every kept table ("main") or a temporary one in its stead ("temp"), from what plain names mean.

    Those of `none` have no row.
    """
    for name in (*WORKING, *KEPT):
        place = "temp" if name in WORKING else home
        kept_tables.make(connection, f"{place}.{name}", COLUMNS[name] if name in none else None, keep_sql(name))
    kept_tables.drop(connection, [f"temp.{name}" for name in WORKING])


def _bring_up_to_date(connection: "duckdb.DuckDBPyConnection", before: str) -> None:
    """Run the files over the rows of the jobs concerned as they were and as they are, and keep the difference."""
    for log in LOGS:
        kept_tables.rows_of_concerned(connection, before, log)
    for side in ("then", "now"):
        with kept_tables.in_place_of_logs(connection, LOGS, side):
            _run(connection, "temp", _without_rows(connection))
            kept_tables.set_aside(connection, KEPT, side)
    for name, known_by in ROWS.items():
        kept_tables.exchange(connection, name, known_by)
    for name, (key, rows) in SHARED.items():
        kept_tables.exchange_shared(connection, name, key, rows)
    for name, counted in COUNTS.items():
        columns = [column.split(" ")[0] for column in COLUMNS[name].split(", ")]
        kept_tables.add_difference(connection, name, columns, counted)
    for name in WHOLE:
        kept_tables.make(connection, f"main.{name}", None, keep_sql(name))
    sides = [f"temp.{side}_{name}" for name in KEPT for side in ("then", "now")]
    kept_tables.drop(connection, [*sides, "concerned", "concerned_units"])
