"""Every concept of the store against a slow row loop, and written out for engines that know no table macros."""

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.contract import TABLES
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.measures.keep import KEPT, OF_KEPT, OF_ROWS, WORKING, keep_sql
from rqa.measures.run import concepts, fill, measure_sql, sql_files
from rqa.store.concepts import expanded
from tests.cases import some_slow
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.by_hand_concepts import OF_A_DAY, PLAIN
from tests.measures.depot_rows import ROWS
from tests.measures.small_depots import START, UNITS, maybe, tables, times
from tests.measures.test_files import MEASURES, values_for

LISTS = ("set_aside", "lots_set_aside", "kind_chances")
"""Concepts that make tables of lists; a case by hand tells what they give."""
STEPS = ("open case", "seat board", "close case", "seal case")
PHASES = ("open", "isolate", "fit", "verify", "reseat", "align")


@st.composite
def depots(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Small depots with plans worth the name: phases, hazards, counts of connectors, steps named twice."""
    data = draw(tables())
    data["procedures"] = [
        completed("procedures", {
            "procedure": procedure, "step_seq": place, "step": draw(maybe(STEPS)),
            "phase": draw(maybe(PHASES)), "subsystems": draw(maybe((None, ["board"], ["board", "display"]))),
            "hazards": draw(maybe((None, ["battery"], ["alignment"]))), "opportunities": draw(st.integers(1, 4)),
            "hold_point": draw(st.booleans()), "must_follow": draw(maybe((None, "open case", "seat board"))),
        })
        for procedure in ("board", "screen")
        for place in range(draw(st.integers(0, 5)))
    ]
    data["parts"] = [
        {
            "job_id": f"J{draw(st.integers(0, 4))}", "line": n, "part_no": draw(maybe(("P1", "P1", "P2"))),
            "lot": draw(maybe((None, "L1", "L2"))), "quantity": draw(maybe((None, 0, 1))),
        }
        for n in range(draw(st.integers(0, 5)))
    ]
    data["pairings"] = [{"part_no": "P1", "requires_part_no": "P2"}] if draw(st.booleans()) else []
    retired = draw(st.sets(maybe(UNITS)))
    data["retirements"] = [completed("retirements", {"unit_id": u, "retired_at": draw(times(90))}) for u in retired]
    return data


def counted(rows: Any) -> Counter[tuple[Any, ...]]:
    """Rows in any order, lists as tuples."""
    return Counter(tuple(tuple(v) if isinstance(v, list) else v for v in row) for row in rows)


@settings(
    max_examples=examples(15), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=depots(), day=st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d)))
def test_every_concept_gives_what_its_header_says(data: dict[str, Any], day: date) -> None:
    with depot_of(data) as depot:
        for name, (columns, by_hand) in PLAIN.items():
            found = depot.query(f"select {columns} from {name}").rows()
            assert counted(found) == counted(by_hand(data)), name
        for case, (given_values, columns, by_day) in OF_A_DAY.items():
            name = case.split()[0]
            if name == "followed_counts":
                sql = f"select {columns}, sum(jobs) from followed_counts($day, 'repaired') group by all"
                found = [row[:-1] for row in depot.query(sql, {"day": day}).rows() for _ in range(row[-1])]
            else:
                found = depot.query(f"select {columns} from {name}({given_values})", {"day": day}).rows()
            assert counted(found) == counted(by_day(data, day)), case


def test_every_concept_has_a_row_loop_and_an_order() -> None:
    assert set(concepts()) == {*OF_ROWS, *OF_KEPT} == {*PLAIN, *(case.split()[0] for case in OF_A_DAY), *LISTS}
    there: set[str] = set()
    for name in (*OF_ROWS, *OF_KEPT):
        read = {c for c in concepts() if re.search(rf"\b(from|join) {c}\b", concepts()[name].body)}
        assert read <= there, f"{name} draws on what is made after it"
        there.add(name)


def test_a_concept_says_what_it_is_and_its_parameters_are_no_columns() -> None:
    """A parameter with the name of a column would be taken for the column, or the column for it."""
    columns = {c.name for t in TABLES.values() for c in t.columns}
    columns |= {day for t in TABLES.values() for day, _ in t.days}
    with depot_of({}) as depot:
        columns |= {c for listed in depot.data.views().table["columns"] for c in listed.split(", ")}
        columns |= {c for table in KEPT for c in depot.query(f"select * from {table}").columns}
    for name, made in concepts().items():
        assert "A row is" in made.header, name
        assert "Not counted" in made.header, name
        assert not columns & set(made.parameters), name
        for parameter in made.parameters:
            assert re.search(rf"\b{parameter}\b", made.header), f"{name} does not explain {parameter}"
            assert re.search(rf"\b{parameter}\b", made.body), f"{name} has no use for {parameter}"


def test_no_step_of_a_file_hides_a_table_or_a_concept() -> None:
    """The engine reads a table macro as if it stood in the query, so a step with a table's name hides the table."""
    names = {*TABLES, *KEPT, *concepts()}
    for name, text in sql_files().items():
        assert not names & set(re.findall(r"^(\w+) as (?:not )?(?:materialized )?\(", text, re.M)), name


def test_lists_become_tables() -> None:
    lists = "['lot', 'site'], ['P1', ''], ['L1', 'Alder'], [$d, $d]"
    with depot_of(ROWS) as depot:
        day = {"d": date(2026, 1, 1)}
        lots = depot.query(f"select job_id, period from lots_set_aside({lists})", day)
        aside = depot.query(f"select * from set_aside({lists})", day)
        chances = depot.query("select * from kind_chances(['a', 'b'], [1, 2])")
    assert aside.rows() == [("lot", "P1", "L1", date(2026, 1, 1)), ("site", "", "Alder", date(2026, 1, 1))]
    assert (aside.columns, chances.columns) == (["dimension", "part_no", "name", "period"], ["kind", "chance"])
    assert lots.rows() == [("J1", date(2026, 1, 1))]
    assert chances.rows() == [("a", 1), ("b", 2)]


def test_views_lists_them_with_their_meaning() -> None:
    with depot_of(ROWS) as depot:
        table = depot.data.views().table
        assert table.columns == ["name", "kind", "parameters", "columns", "meaning"]
        told = {row["name"]: row for row in table.iter_rows(named=True)}
        assert set(told) == set(concepts())
        assert told["fitted_lots"]["kind"] == "view"
        assert told["fitted_lots"]["columns"] == "job_id, part_no, lot"
        assert told["first_runs"]["kind"] == "table macro"
        assert told["first_runs"]["parameters"] == "as_of"
        assert told["unpassed_tests"]["meaning"].startswith("Tests of jobs that did not pass in the end: how")
        with pytest.raises(RequestError, match="one SELECT"):
            depot.query("create or replace view fitted_lots as select 1")


# --- written out


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def unlike(first: Any, second: Any) -> bool:
    return sorted(map(repr, first.rows())) != sorted(map(repr, second.rows()))


@pytest.mark.parametrize("measure", some_slow(MEASURES, list(MEASURES)[::4]))
def test_a_file_written_out_counts_the_same(depot: Depot, measure: str) -> None:
    """In an engine without table macros: every measure, in groups, with its concepts as steps of its own."""
    by = tuple(MEASURES[measure])[:2] if measure.startswith("values_") else tuple(MEASURES[measure])
    sql, bound = fill(measure, by=by, where={}, months=None, given=values_for(measure))
    values = {**values_for(measure), **bound}
    out = expanded(sql, concepts())
    left = [name for name in concepts() if re.search(rf"\b{name}\(", out)]
    assert left == []
    assert (out == sql) == (not any(re.search(rf"\b(from|join) {name}\b", measure_sql(measure)) for name in concepts()))
    assert not unlike(depot._store.counts(measure, sql, values), depot._store.counts(measure, out, values))


@pytest.mark.parametrize("name", KEPT)
def test_a_kept_table_written_out_is_the_same(depot: Depot, name: str) -> None:
    written = expanded(keep_sql(name), concepts())
    for working in WORKING:
        written = re.sub(rf"\b(from|join) {working}\b", rf"\1 ({keep_sql(working)})", written)
    assert not unlike(depot._store.counts(name, written), depot._store.counts(name, f"select * from {name}"))


def test_writing_out_leaves_quotes_and_remarks_alone() -> None:
    said = "select 'from first_runs(1)' as said, /* join fitted_lots */ count(*)\nfrom fitted_lots\n"
    out = expanded("-- from fitted_lots\n" + said, concepts())
    assert out.startswith("-- from fitted_lots\nwith\nfitted_lots as (\nselect distinct")
    assert out.endswith(said)


def test_unlike_arguments_are_steps_of_their_own() -> None:
    both = "with\na as (\n    select * from first_runs($x)\n)\nselect * from a join first_runs($y) using (job_id)"
    out = expanded(both, concepts())
    assert re.findall(r"^(\w+) as \(", out, re.M) == ["runs_until", "first_runs", "runs_until_2", "first_runs_2", "a"]
    assert "run_on <= $x" in out
    assert "run_on <= $y" in out
