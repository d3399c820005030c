"""People mapped as a bench, tool or station: marked, they are treated as technicians are; the page names none."""

import random
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from rqa.answers.core.persons import PEOPLE
from rqa.depot import Depot
from rqa.depot import open as open_depot
from rqa.review import write_page
from rqa.review.data.intake import intake
from rqa.review.workbook import write_workbook
from rqa.store.remark_words import EMPTIED_BEGINS
from rqa.store.remarks import NO_JOB
from tests.depots import depot_of, make_store
from tests.review.made_depot import made_tables

NAMES = {"bench": ("Adaobi", "Bojana", "Cosmin"), "tool": ("Danuta", "Eskil", "Farid"),
         "station": ("Gudrun", "Hamza", "Ilka")}
"""The last of each does badly, so that there is something to tell."""
TABLE_OF = {"bench": "steps", "tool": "steps", "station": "diagnostics"}


def people_at_work() -> dict[str, Any]:
    """A depot in which the last of each three people fails far more checks, tests and jobs than the others."""
    made, rng = made_tables(jobs=700), random.Random(5)
    returned = {r["unit_id"] for r in made["jobs"] if r["job_id"].startswith("R")}
    of_job: dict[str, tuple[str, str]] = {}
    for r in made["jobs"]:
        bad = r["unit_id"] in returned and rng.random() < 0.8
        of_job[r["job_id"]] = tuple(NAMES[c][2] if bad else rng.choice(NAMES[c]) for c in ("bench", "tool"))  # type: ignore[assignment]
    for r in made["steps"]:
        bench, tool = of_job[r["job_id"]]
        odd = rng.random() < (0.3 if bench == NAMES["bench"][2] else 0.25 if tool == NAMES["tool"][2] else 0.02)
        r |= {"bench": bench, "tool": tool, "outcome": "fail" if odd and r["attempt"] == 1 else r["outcome"]}
    for r in made["diagnostics"]:
        station = rng.choice(NAMES["station"])
        bad = station == NAMES["station"][2]
        r |= {"station": station, "outcome": "fail" if rng.random() < (0.4 if bad else 0.03) else "pass",
              "value": rng.gauss(12.0 if bad else 10.0, 0.5), "lower_limit": 5.0, "upper_limit": 15.0}
    return made


@pytest.fixture(scope="module")
def depots(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mapping[bool, Depot]]:
    """The same depot with the three columns marked and not marked, by whether they are."""
    folder, tables = tmp_path_factory.mktemp("people"), people_at_work()
    marks = [{"table_name": t, "column_name": c} for c, t in TABLE_OF.items()]
    plain = make_store(folder / "plain.duckdb", tables)
    marked = make_store(folder / "marked.duckdb", tables | {"person_columns": marks})
    with open_depot(plain) as without, open_depot(marked) as with_marks:
        yield {False: without, True: with_marks}


def named(text: str) -> set[str]:
    return {column for column, names in NAMES.items() if any(name in text for name in names)}


@pytest.mark.slow
def test_the_page_names_places_but_no_person(depots: Mapping[bool, Depot], tmp_path: Path) -> None:
    """Without the mark all three are named somewhere, so that this test can fail; with it nowhere on any form of it."""
    for marked, depot in depots.items():
        folder = tmp_path / str(marked)
        folder.mkdir()
        page = write_page(depot, folder, "2025-03")
        write_workbook(depot, folder / "page.xlsx", "2025-03")
        import fastexcel

        book = fastexcel.read_excel(folder / "page.xlsx")
        cells = "".join(
            str(book.load_sheet(s, header_row=None, dtypes="string").to_polars().rows()) for s in book.sheet_names
        )
        texts = [page.path.read_text(encoding="utf-8"), cells, *(p.read_text() for p in folder.glob("*.json"))]
        assert [named(t) for t in texts[:2]] == [set() if marked else set(NAMES)] * 2
        assert named("".join(texts)) == (set() if marked else set(NAMES))
        assert "single persons" in texts[0]


@pytest.mark.parametrize("column", NAMES)
def test_answers_about_them_carry_the_caution(depots: Mapping[bool, Depot], column: str) -> None:
    by_test = column == "station"
    for marked, depot in depots.items():
        asked = [
            depot.first_pass_yield(by=(column,)), depot.comebacks(by=(column,)),
            depot.first_pass_yield(by=("test" if by_test else "step",), where={column: NAMES[column][0]}),
        ]
        if not by_test:
            asked += [depot.yields.rework(by=(column,)), depot.yields.failures(by=(column,))]
        for answer in asked:
            assert any(PEOPLE in n for n in answer.notes) == marked, answer.question
        compared = depot.compare(column, outcome="first_run" if by_test else "first_pass")
        assert any(PEOPLE in n for n in compared.notes)
        assert {("no verdict on a person" in f.caution) for f in compared.stated} == {marked}


def test_findings_about_them_are_findings_about_people(depots: Mapping[bool, Depot]) -> None:
    for marked, depot in depots.items():
        found = depot.findings("2025-03")
        about = [f for f in found.stated if set(NAMES) & set(f.scope)]
        assert set(NAMES) <= {c for f in found.findings for c in f.scope}
        assert {("no verdict on a person" in f.caution) for f in about} == {marked}
        assert depot.people == {"technician", *(NAMES if marked else ())}


def test_no_example_of_what_sql_made_nothing_of_is_on_the_page() -> None:
    """It may be a name; the load report and the store have it."""
    job = {"job_id": "A", "unit_id": "U", "opened_at": datetime(2024, 1, 1), "closed_at": datetime(2024, 1, 2)}
    remark = {"load_id": 1, "table_name": "jobs", "source_file": "j.csv", "rows": 2, "first_row": 3}
    told = [
        remark | {"remark": f"{EMPTIED_BEGINS} technician gave nothing", "value": "Name = Ann"},
        remark | {"remark": "unknown model", "value": "Quarn"},
    ]
    with depot_of({"jobs": [job], "remarks": told, "load_files": LOADED}) as depot:
        tables, _, _ = intake(depot)
    said = str(tables)
    assert "technician gave nothing" in said
    assert "Quarn" in said
    assert "Ann" not in said


def test_a_remark_has_a_number_of_names_only_where_each_name_is_told() -> None:
    """Of logs without a job there is one example a file, however many jobs are missing; a date has no example."""
    job = {"job_id": "A", "unit_id": "U", "opened_at": datetime(2024, 1, 1), "closed_at": datetime(2024, 1, 2)}
    remark = {"load_id": 1, "table_name": "steps", "rows": 2, "first_row": 3}
    told = [
        *(remark | {"remark": NO_JOB, "source_file": file, "value": file[0]} for file in ("a.csv", "b.csv")),
        *(remark | {"remark": "unknown step", "source_file": "", "value": name} for name in ("oil", "wax", "dry")),
        remark | {"remark": "dated after the load", "source_file": "", "value": None},
    ]
    with depot_of({"jobs": [job], "remarks": told, "load_files": LOADED}) as depot:
        tables, _, _ = intake(depot)
    (remarks,) = (t for t in tables if t.caption.startswith("Accepted"))
    assert {r[0]: r[2:4] for r in remarks.rows} == {
        NO_JOB: ("a", "–"), "unknown step": ("dry", "3"), "dated after the load": ("–", "–"),
    }


LOADED = [
    {"load_id": 1, "source_file": "j.csv", "table_name": "jobs", "digest": "d", "mapping_digest": "m"}
    | dict.fromkeys(("in_file", "left_out", "read", "accepted", "refused", "known", "superseded"), 1)
]
