"""Every measure file: runs with every grouping and filter, as it stands, and returns plain types in a total order."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

import rqa
from rqa.answers.core.kept_counts import KEPT as KEPT_FILE
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.measures.groupings import declared
from rqa.measures.keep import KEPT, WORKING, keep_sql
from rqa.measures.run import _with_rest, concepts, counts, groupings, measure_sql, sql_files
from tests.cases import some_slow
from tests.depots import depot_of
from tests.measures.depot_rows import ROWS

PLAIN = (pl.Int64, pl.Float64, pl.String, pl.Boolean, pl.Date, pl.Datetime)
VALUES: dict[str, Any] = {
    "window": 30, "as_of": date(2026, 6, 30), "since": date(2026, 6, 23), "disposition": "repaired", "limit": 100,
    "outer": 0.1, "silent": [], "log": "steps", "unlogged": ["Birch"],
    "rest": 8, "sites": ["Alder"], "written": ["found"], "unwritten": ["Birch"], "zones": ["Europe/Lisbon"],
    "upto": 90, "min_cases": 1, "usual": 0.8, "period": "month", "side": "upper", "cuts": 20,
    "first_month": date(2026, 1, 1), "last_month": date(2026, 6, 1), "classes": ["repeat", "workmanship"],
    "beside_parts": [], "beside_lots": [], "dimensions": ["time", "bench", "lot"],
    "patterns": ["step\x1eseat board"], "clusters": [1], "kinds": [], "probabilities": [],
    "aside_dimensions": [], "aside_parts": [], "aside_names": [], "aside_periods": [],
    "only_site": [], "only_model": [], "only_procedure": [], "only_technician": [],
    "only_billing": [], "rate": 36.0,
    "started_on": date(2026, 2, 1), "first_on": date(2025, 2, 1), "last_on": date(2026, 6, 1), "recent": 60,
    "subsystems": ["display"],
    "steps": ["open case", "seat board"], "other_steps": ["seat board"], "variants": ["", ""], "covariate": "",
    "unit": "U1", "job": "J1", "part": "P1", "lot": "L1", "jobs": ["J1"], "later": date(2026, 6, 30), "last_attempt": 2,
}
WITHOUT_ORDER = ("keep_job_sequence", "keep_links", "keep_unclean_attempts", "keep_unclean_tests", "keep_unclean_runs",
                 "keep_job_logs", "keep_decided_values", "keep_returned_jobs",
                 "keep_mixed_checks")
"""Kept tables with a row a job or more, which nobody lists and which it would take long to put in order."""
KEEPING = tuple(f"keep_{name}" for name in (*KEPT, *WORKING))
MEASURES = {name: groupings(name) for name in sorted(set(sql_files()) - {*concepts(), *KEEPING})}
ALL_AT_ONCE = {
    measure: [tuple(allowed), *([] if measure.startswith("values_") else [()])] for measure, allowed in MEASURES.items()
}
ONE_BY_ONE = {measure: [(name,) for name in allowed] for measure, allowed in MEASURES.items() if allowed}
"""What a measure is grouped by; a single grouping is among all at once, too."""


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def values_for(measure: str) -> dict[str, Any]:
    sql = re.sub(r"--[^\n]*", "", measure_sql(measure))
    return {name: VALUES[name] for name in re.findall(r"\$(\w+)", sql)}


@pytest.mark.parametrize("measure", ALL_AT_ONCE)
def test_every_file_with_all_groupings_at_once_and_with_none(depot: Depot, measure: str) -> None:
    for by in dict.fromkeys(ALL_AT_ONCE[measure]):
        check_grouped(depot, measure, by)


@pytest.mark.slow
@pytest.mark.parametrize("measure", ONE_BY_ONE)
def test_every_file_with_every_grouping(depot: Depot, measure: str) -> None:
    for by in ONE_BY_ONE[measure]:
        check_grouped(depot, measure, by)


def check_grouped(depot: Depot, measure: str, by: tuple[str, ...]) -> None:
    """A table of plain types begins with the groups, has no row twice, and none where the filter lets nothing in."""
    table = counts(depot._store, measure, by=by, values=values_for(measure))
    assert tuple(table.columns[: len(by)]) == by
    for name, kind in table.schema.items():
        assert kind.base_type() in PLAIN, f"{name} is {kind}"
    assert table.height == table.unique().height
    if by and not measure.startswith("values_"):
        again = counts(depot._store, measure, by=by, where={n: () for n in by[:1] if n != "month"},
                       values=values_for(measure))
        assert by[0] == "month" or again.height == 0 or not again.select(pl.col(pl.Int64)).to_series().any()


BY_MONTH = [m for m in MEASURES if "month" in MEASURES[m]]


@pytest.mark.parametrize("measure", some_slow(BY_MONTH, BY_MONTH[::3]))
def test_filters_keep_what_they_name(depot: Depot, measure: str) -> None:
    """Filtering on a value equals grouping by it and keeping that group, for every filter and value."""
    sums = ("jobs", "matured", "returned", "exposures", "passed", "failed", "unchecked", "clean", "units", "number")
    for name in MEASURES[measure]:
        grouped = counts(depot._store, measure, by=(name,), values=values_for(measure))
        for value in grouped[name].unique().to_list():
            if value is None:
                continue
            kept = {"months": (value, value)} if name == "month" else {"where": {name: (value,)}}
            found = counts(depot._store, measure, by=(name,), values=values_for(measure), **kept)
            same = [c for c in sums if c in found.columns]
            assert found.select(same).sum().row(0) == grouped.filter(pl.col(name) == value).select(same).sum().row(0)
            assert found[name].unique().to_list() == [value]


def test_every_file_is_known_and_says_what_it_is() -> None:
    there = set(sql_files())
    assert there >= {*KEEPING}
    for name in there - set(concepts()):
        text = keep_sql(name.removeprefix("keep_")) if name.startswith("keep_") else measure_sql(name)
        head = "\n".join(line for line in text.splitlines() if line.startswith("--"))
        assert "A row is" in head, name
        for parameter in set(re.findall(r"\$(\w+)", re.sub(r"--[^\n]*", "", text))):
            assert f"${parameter}" in head, f"{name} does not explain ${parameter}"
        assert "qualify" not in text.lower(), name
        if name not in WITHOUT_ORDER:
            assert re.search(r"order by|A row is the store", text), f"{name} has no order"


def test_every_measure_is_asked_by_somebody() -> None:
    product = "".join(file.read_text(encoding="utf-8") for file in Path(rqa.__file__).parent.rglob("*.py"))
    named = {name for name in MEASURES if f'"{name}"' in product or name.startswith("values_")}
    named |= {f"{name}_by_{log}" for name in named for log in ("part", "step", "test")}
    named |= {f"{name}{KEPT_FILE}" for name in named}
    assert set(MEASURES) - named == set()


def test_a_file_goes_on_with_the_steps_of_another() -> None:
    """What stands on disk and what is asked: two files, their ends alike, written once."""
    rows = "-- A row is one.\nwith\n-- rows\nfirst as (\n    a\n),\n-- sums\nlast as (\n    b\n)\nselect\n    c\n"
    kept, both = "-- A row is one.\nwith\n-- what is kept\nfirst as (\n    k\n)", {"rows": rows}
    steps = _with_rest(f"{kept},\n-- The rest: that of rows.sql from last on.\n", both)
    assert steps == f"{kept},\n-- sums\nlast as (\n    b\n)\nselect\n    c\n"
    end = _with_rest(f"{kept}\n-- The rest: that of rows.sql from its select on.\n", both)
    assert end == f"{kept}\nselect\n    c\n"
    assert _with_rest(rows, both) == rows
    for said in ("rows.sql from middle", "others.sql from last"):
        with pytest.raises(ValueError, match=r"has no step '(middle|last)'"):
            _with_rest(f"{kept},\n-- The rest: that of {said} on.\n", both)


def test_no_file_leaves_its_rest_to_one_that_leaves_it_too() -> None:
    left = [name for name, text in sql_files().items() if "-- The rest:" in text]
    assert left == []


def test_groupings_are_read_as_the_header_declares_them() -> None:
    header = "-- Grouped by: month, week of day l.on; job of l or 'unknown'; step of s;\n"
    header += "--   bench as concat('a', b).\n"
    assert declared("-- A row is one job.\nselect 1") == {}
    read = declared(header + "select 1")
    assert list(read) == ["month", "week", "site", "model", "procedure", "technician", "billing", "step", "bench"]
    assert read["month"] == "cast(date_trunc('month', l.on) as date)"
    assert (read["site"], read["step"], read["bench"]) == ("coalesce(l.site, 'unknown')", "s.step", "concat('a', b)")
    with pytest.raises(ValueError, match="cannot be read: 'step in s'"):
        declared("-- Grouped by: job of l; step in s.\n")
    with pytest.raises(ValueError, match="no full stop"):
        declared("-- Grouped by: job of l\n")


@pytest.mark.parametrize("measure", [m for m in MEASURES if MEASURES[m]])
def test_a_file_runs_as_it_stands(depot: Depot, measure: str) -> None:
    """Pasted into a shell: the groupings written in the file, no filter."""
    assert depot._store.counts(measure, measure_sql(measure), values_for(measure)).width >= 1


def test_values_are_bound_and_names_are_closed(depot: Depot) -> None:
    nasty = "Alder' or 1=1 --"
    found = counts(depot._store, "comebacks", by=("site",), where={"site": (nasty,)}, values=values_for("comebacks"))
    assert found.height == 0
    for by, where in ((("site; drop table jobs",), {}), ((), {"1=1 or site": ("Alder",)})):
        with pytest.raises(RequestError, match=r"There is: month, week, site, model"):
            counts(depot._store, "comebacks", by=by, where=where, values=values_for("comebacks"))
