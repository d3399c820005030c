"""What is counted by buckets of units and put together is what is counted of all, for every file, however grouped."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.lake import merging
from rqa.lake.layout import SPREAD
from rqa.lake.merging import Merge, head, merge_of, order_of, read, read_by, read_off, rest, tables_of, tree
from rqa.lake.store import handed_out, handing_out
from rqa.measures.run import concepts, fill, measure_sql
from tests.examples import examples
from tests.lake.lakes import both, check_same, stored
from tests.made_once import Shelf
from tests.measures.depot_rows import ROWS
from tests.measures.small_depots import UNITS, maybe
from tests.measures.test_files import MEASURES, values_for
from tests.measures.test_kept_measures import depots

DECLARED = [name for name in MEASURES if "\n-- Merged: " in measure_sql(name)]
FORMS = ("comebacks_rows", "latest", "clocks", "retests_kept", "practice", "unit_history", "release_checks_kept",
         "station_values", "release_list", "gaps_by_site")
KINDS = {
    "sum": "select 'a' as k, cast(coalesce(sum(x), 0) as bigint) as n from t group by all",
    "count": "select k, count(*) filter (where x > $p) as n from t group by all",
    "count of ids": "select k, cast(count(distinct t.job_id) as bigint) as n from t group by all",
    "sum of sums": "select k, cast(coalesce(sum(x), 0) + coalesce(sum(y), 0) as bigint) as n from t group by all",
}


def filled(measure: str, by: tuple[str, ...]) -> str:
    return fill(measure, by=by, where={}, months=None, given=list(values_for(measure)))[0]


@pytest.mark.parametrize("measure", MEASURES)
def test_every_file_says_how_it_merges(measure: str) -> None:
    """A new file whose last SELECT does not tell it needs a line in its header; the tests below then prove it."""
    for by in {(), tuple(MEASURES[measure])} - ({()} if measure.startswith("values_") else set()):
        sql = filled(measure, by)
        node = tree(sql)
        if tables_of(read_by(node)) & SPREAD:
            how = merge_of(sql, node)
            assert how is not None, f"{measure} by {by} needs a line '-- Merged: …' in its header"
            if how.step:
                assert tree(head(sql, how.step))
                assert "select * from given\n)" in rest(sql, how.step, "given")
        else:
            assert measure not in DECLARED, f"{measure} reads nothing that lies in buckets; take out '-- Merged: …'"


def test_what_reads_no_rows_of_jobs_stays_beside_the_buckets() -> None:
    assert not tables_of(read_by(tree(filled("first_pass_steps", ("step",))))) & SPREAD
    assert "links" in tables_of(read_by(tree("select * from index_jobs($a, $w, 'repaired')")))
    assert "parts" in tables_of(read_by(tree("select 1 where exists (from parts)")))


@pytest.mark.parametrize("kind", KINDS)
def test_sums_are_read_off(kind: str) -> None:
    assert read_off(tree(KINDS[kind]), {}) == Merge({"n": "sum"}, True)


@pytest.mark.parametrize("made", [
    "avg(x)", "arg_max_null(x, y)", "sum(x) / count(*)", "count(distinct x)", "max(x) - min(x)", "median(x)",
    "coalesce(max(x), 0)",
])
def test_what_does_not_merge_is_not_taken_for_a_sum(made: str) -> None:
    node = tree(f"select k, {made} as n from t group by all")
    assert read_off(node, {}) is None
    assert read_off(node, {"n": "max"}) == Merge({"n": "max"}, True)


def test_what_looks_at_other_rows_must_be_declared() -> None:
    """So must groups that are left out, and unions."""
    grouped = "select k, sum(x) as n from t group by all"
    assert read_off(tree("select k, row_number() over (order by k) as n from t"), {}) is None
    for sql in (f"{grouped} having sum(x) > 2", f"{grouped} union all {grouped}"):
        assert read_off(tree(sql), {}) is None
    assert read_off(tree("select distinct k from t order by all"), {}) == Merge({}, False, distinct=True)


def test_declarations_are_read() -> None:
    assert read("sums of jobs, cases; least of day") == Merge({"jobs": "sum", "cases": "sum", "day": "min"}, True)
    assert read("sums of jobs, none of 0") == Merge({"jobs": "sum"}, True, nonzero=True)
    assert read("rows in worked, then the rest") == Merge({}, False, step="worked")
    assert read("sums of n in by_value, then middles given back") == Merge(
        {"n": "sum"}, True, step="by_value", back="middles"
    )
    assert read("whole").whole
    assert read("rows of one bucket").as_given
    with pytest.raises(ValueError, match="cannot be read: 'middles of x'"):
        read("middles of x")
    with pytest.raises(ValueError, match="no full stop"):
        merging.declared("-- A row.\n-- Merged: rows\nselect 1")


def test_the_last_order_is_found() -> None:
    sql = "select (select x from a order by x limit 1) as y -- order by z\n"
    sql += "from b\norder by b.y desc, 'order by'\nlimit $n"
    assert order_of(sql) == "order by b.y desc, 'order by'\nlimit $n"
    assert order_of("select row_number() over (order by a) from t") == ""


def test_concepts_of_all_jobs_are_handed_out() -> None:
    assert handed_out() == {"usual_spans"}
    assert tree(head(concepts()["usual_spans"].body, handing_out("usual_spans").step))


@pytest.mark.slow
def test_each_form_over_two_buckets(tmp_path: Path) -> None:
    """One file of each form; all files and groupings are slow."""
    with both(stored(tmp_path, ROWS), tmp_path / "lake", 2) as (whole, spread):
        for measure in FORMS:
            check_same(whole, spread, measure, tuple(MEASURES[measure]))


@pytest.mark.slow
def test_a_wrong_declaration_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without its own form, a file that numbers the jobs of all units would number those of each bucket."""
    with both(stored(tmp_path, ROWS), tmp_path / "lake", 3) as (whole, spread):
        check_same(whole, spread, "comeback_sequence", ())
        spread.forget()
        monkeypatch.setattr("rqa.lake.store.merge_of", lambda sql, node: Merge({}, False))
        with pytest.raises(AssertionError, match="comeback_sequence by"):
            check_same(whole, spread, "comeback_sequence", ())


@pytest.mark.parametrize(("buckets", "one_by_one"), [
    pytest.param(4, False, marks=pytest.mark.slow),
    *(pytest.param(number, number == 4, marks=pytest.mark.long) for number in (1, 4, 7)),
])
def test_every_file_with_every_grouping(shelf: Shelf, tmp_path: Path, buckets: int, one_by_one: bool) -> None:
    """By all groupings at once and by none; one by one, and over other numbers of buckets, before a release."""
    store = shelf.demo(300) / "depot.duckdb"
    with both(store, tmp_path / "lake", buckets) as (whole, spread):
        for measure, allowed in MEASURES.items():
            asked = [tuple(allowed), *([] if measure.startswith("values_") else [()])]
            for by in dict.fromkeys((*asked, *((name,) for name in allowed if one_by_one))):
                check_same(whole, spread, measure, by)


@pytest.mark.slow
@settings(
    max_examples=examples(4), deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture],
)
@given(data=depots(), one_unit=st.booleans(), buckets=maybe((1, 4, 7)), asked=st.data())
def test_messy_depots(
    tmp_path_factory: pytest.TempPathFactory, data: Any, one_unit: bool, buckets: int, asked: st.DataObject
) -> None:
    """Logs without a job, empty buckets, a unit with most of the jobs, ties and days without an order."""
    if one_unit:
        data["jobs"] = [job | {"unit_id": UNITS[0]} if number % 3 else job for number, job in enumerate(data["jobs"])]
    data["studies"] = [
        {"study": "recheck", "unit": job["job_id"], "trial": 1, "value": 0.5, "outcome": "good"}
        for job in data["jobs"][::3]
    ]
    folder = tmp_path_factory.mktemp("messy")
    day = max((j["closed_on"] for j in data["jobs"] if j["closed_on"]), default=None)
    values = {"as_of": day} if day else {}
    with both(stored(folder, data), folder / "lake", buckets) as (whole, spread):
        for measure, allowed in MEASURES.items():
            by = tuple(asked.draw(st.lists(maybe(list(allowed)), unique=True, max_size=3))) if allowed else ()
            if measure.startswith("values_"):
                by = tuple(allowed)
            check_same(whole, spread, measure, by, values)


def test_no_parameter_is_left_over() -> None:
    sql = "-- $x is told\nselect $first from t where a = $second"
    assert merging.used(sql, {"first": 1, "second": 2, "x": 3}) == {"first": 1, "second": 2}
