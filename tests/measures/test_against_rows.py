"""Every measure against a slow row loop written from the definitions, on depots full of ties and overlaps."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.yields.clean import clean_jobs
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.depot import Depot
from rqa.measures.run import counts
from tests.depots import depot_of
from tests.examples import examples
from tests.measures import by_hand
from tests.measures.small_depots import START, tables

SLOW = settings(
    max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
JOB_LEVEL = ("month", "site", "model", "procedure", "technician", "billing")
as_ofs = st.one_of(st.none(), st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d)))


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(names), unique=True, max_size=3).map(tuple)


def as_dict(table: pl.DataFrame, by: tuple[str, ...], *columns: str) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    for name in columns:
        assert table.schema[name] == pl.Int64, f"{name} is {table.schema[name]}"
    if by:
        assert table.select(by).null_count().sum_horizontal().item() == 0
    return {tuple(r[b] for b in by): tuple(r[c] for c in columns) for r in table.iter_rows(named=True)}


def with_zero(expected: dict[Any, Any], by: tuple[str, ...], zero: tuple[int, ...]) -> dict[Any, Any]:
    """A question without groups is answered by one row, also when there is nothing to count."""
    return expected if by else {(): expected.get((), zero)}


def asked_of(depot: Depot) -> date:
    return depot.as_of.date()


@SLOW
@given(data=tables(), as_of=as_ofs)
def test_links_and_classes(data: dict[str, Any], as_of: Any) -> None:
    expected = by_hand.links(data)
    with depot_of(data, as_of) as depot:
        rows = depot.query("select * from links order by job_id").to_dicts()
        listed = {r["job_id"] for r in depot.data.overlaps().table.iter_rows(named=True)}
        pairs = depot.data.overlaps().table.select("job_id", "other_job_id").rows()
    assert listed == by_hand.overlapping(data["jobs"])
    jobs = {j["job_id"]: j for j in data["jobs"]}
    for one, other in pairs:
        assert one != other
        assert by_hand.overlapping([jobs[one], jobs[other]]) == {one, other}
    found = {r["job_id"]: (r["return_job_id"], r["elapsed_days"], r["class"]) for r in rows}
    assert found == {k: (back and back["job_id"], gap, kind) for k, (_, back, gap, kind) in expected.items()}


@SLOW
@given(data=tables(), as_of=as_ofs)
def test_what_each_site_writes_down(data: dict[str, Any], as_of: Any) -> None:
    columns = ("jobs", "logged", "touched", "tested", "returned", "found")
    with depot_of(data, as_of) as depot:
        day = asked_of(depot)
        table = counts(depot._store, "known_by_site", values={"as_of": day})
    assert {r["site"]: tuple(r[c] for c in columns) for r in table.iter_rows(named=True)} == by_hand.known_by_site(
        data, day
    )


@SLOW
@given(
    data=tables(),
    as_of=as_ofs,
    by=st.one_of(
        groups(*JOB_LEVEL, "class"),
        groups(*JOB_LEVEL, "step", "bench", "tool", "phase", "class"),
        groups("month", "site", "test", "station", "class"),
    ),
    window=st.sampled_from((0, 1, 5, 30, 90)),
    index=st.sampled_from(("repaired", "no_fault_found")),
)
def test_comebacks(data: dict[str, Any], as_of: Any, by: tuple[str, ...], window: int, index: str) -> None:
    by = (*(b for b in by if b != "class"), *(b for b in by if b == "class"))
    with depot_of(data, as_of) as depot:
        expected = by_hand.comebacks(data, by, window=window, as_of=asked_of(depot), index_disposition=index)
        table = depot.comebacks(window=window, by=by, index_disposition=index).table
        rows = comebacks(replace(depot._snapshot, from_rows=True), window=window, by=by, index_disposition=index).table
    if by == ("class",) and not expected:
        expected = {(c,): (0, 0, 0) for c in ("no_fault_found", "unknown", "repeat", "workmanship", "new_fault")}
    assert as_dict(table, by, "jobs", "matured", "returned") == with_zero(expected, by, (0, 0, 0))
    assert rows.equals(table), "the kept counts and the rows disagree"
    none = table.filter(pl.col("matured") == 0)
    assert none["rate"].null_count() == none["low"].null_count() == none.height


@SLOW
@given(
    data=tables(),
    as_of=as_ofs,
    by=st.one_of(
        groups(*JOB_LEVEL, "step"),
        groups(*JOB_LEVEL, "step", "bench", "tool", "phase"),
        groups("month", "step", "technician", "bench", "tool"),
        groups(*JOB_LEVEL, "test", "station"),
    ),
)
def test_first_pass_yield(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    columns = ("exposures", "passed", "failed", "unchecked")
    with depot_of(data, as_of) as depot:
        expected = by_hand.first_pass(data, by, as_of)
        table = depot.first_pass_yield(by=by).table
        rows = first_pass_yield(replace(depot._snapshot, from_rows=True), by=by).table
    assert as_dict(table, by, *columns) == with_zero(expected, by, (0, 0, 0, 0))
    assert rows.equals(table), "the kept counts and the rows disagree"


@SLOW
@given(
    data=tables(),
    as_of=as_ofs,
    asked=st.one_of(
        st.tuples(st.just("steps"), groups("site", "model", "technician", "bench", "tool", "step", "phase")),
        st.tuples(st.just("diagnostics"), groups("site", "model", "technician", "station")),
    ),
)
def test_checks_job_by_job(data: dict[str, Any], as_of: Any, asked: tuple[str, tuple[str, ...]]) -> None:
    log, by = asked
    columns = ("jobs", "checks", "failed", "checks_squared", "checks_by_failed", "failed_squared")
    with depot_of(data, as_of) as depot:
        table = counts(depot._store, "checks_by_job", by=by, values={"as_of": asked_of(depot), "log": log})
        turns = None if log == "diagnostics" else counts(
            depot._store, "checks_by_job_turns", by=by, values={"as_of": asked_of(depot)}
        )
        expected = by_hand.checks_by_job(data, by, asked_of(depot), tests=log == "diagnostics")
    assert as_dict(table, by, *columns) == with_zero(expected, by, (0,) * 6)
    assert turns is None or turns.equals(table), "turns and the rows disagree"


@SLOW
@given(data=tables(), as_of=as_ofs, by=groups(*JOB_LEVEL))
def test_clean_jobs(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    with depot_of(data, as_of) as depot:
        expected = by_hand.clean_jobs(data, by, as_of)
        table = depot.yields.clean(by=by).table
        rows = clean_jobs(replace(depot._snapshot, from_rows=True), by=by).table
    assert as_dict(table, by, "jobs", "clean") == with_zero(expected, by, (0, 0))
    assert rows.equals(table), "the kept counts and the rows disagree"
