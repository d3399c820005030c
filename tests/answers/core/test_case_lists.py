"""Every figure's list is as long as the figure: over all questions, their rows and counts, today and on a past day."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from click.testing import CliRunner

import rqa
from rqa.answers.core.case_lists import CHOSEN, CaseList
from rqa.answers.core.job_lists import JOB_COLUMNS
from rqa.answers.core.result import Answer
from rqa.answers.improve.finding_lists import BEHIND, NO_LIST
from rqa.cli import main
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.lists import listed as asked_for
from rqa.measures.run import groupings
from tests.made_once import Shelf
from tests.odd_depots.questions import asked_of, every_question

OF_ONE_ROW = ("burst", "action_id", "series")
"""Keys of answers of which each row has a list of its own."""
NAMED_ONES = {
    "Did it work", "Faults caught and escaped", "Releases checked", "Control chart", "Cohorts of closing months",
}
"""Among the questions that must be tried: verdicts, escapes, releases, points of a chart, cells of cohorts."""
DEAR = ("findings", "steps.clusters", "charts.time_to_detect")
"""Questions that cost much and count no jobs themselves."""


@pytest.fixture(scope="module")
def workshop(shelf: Shelf) -> Path:
    return shelf.workshop()


@pytest.fixture(
    scope="module", params=[None, pytest.param("2025-03-10", marks=pytest.mark.slow)], ids=["latest", "past day"]
)
def answers(request: pytest.FixtureRequest, workshop: Path) -> Iterator[list[Answer]]:
    with rqa.open(workshop, as_of=request.param) as depot:
        made = [asked(depot, name, how) for name, how in every_question(depot) if name not in DEAR]
        yield [answer for answer in made if isinstance(answer, Answer)]


def places(rows: int, tried: int) -> list[int]:
    """So many places of a table, evenly spread up to the last row."""
    return sorted({(place + 1) * rows // tried - 1 for place in range(min(rows, tried))})


def asked(depot: Depot, name: str, how: Mapping[str, Any]) -> object:
    try:
        return asked_of(depot, name)(**how)
    except RequestError:  # too little of something on this day: what is said then is tested elsewhere
        return None


def keys_of(made: CaseList, row: Mapping[str, Any]) -> dict[str, Any]:
    """What of a row of an answer names it."""
    if own := {name: row[name] for name in OF_ONE_ROW if name in made.keys and name in row}:
        return own
    counts = made.counts.values()
    names = {*groupings(made.file), *made.keys, *made.whole, *(key for c in counts for key in (*c.at, *c.per))}
    names |= {"class"} if any(c.classed for c in counts) else set()
    return {name: value for name, value in row.items() if name in names}


def lists_of(answer: Answer) -> CaseList | None:
    made = answer.listed()
    return None if isinstance(made, str) or made.file == CHOSEN else made


@pytest.mark.parametrize("rows_tried", [1, pytest.param(4, marks=pytest.mark.slow)])
def test_a_row_has_as_many_cases_as_it_counts(answers: list[Answer], rows_tried: int) -> None:
    wrong, tried, of = [], 0, set()
    every = answers if rows_tried > 1 else {answer.question: answer for answer in answers}.values()
    for answer in every:
        made, rows = lists_of(answer), list(answer.table.iter_rows(named=True))
        if made is None or not rows:
            continue
        for count in (name for name in made.counts if name in answer.table.columns):
            for row in (rows[place] for place in places(len(rows), rows_tried)):
                if row[count] is None:
                    continue
                tried, of = tried + 1, of | {answer.question}
                listed = answer.jobs(count, **keys_of(made, row)).table
                if listed.height != row[count]:
                    wrong.append((answer.question, answer.settings.get("by"), count, row[count], listed.height, row))
    assert wrong == []
    assert tried > 100
    assert of >= NAMED_ONES


def test_a_whole_answer_lists_no_more_than_its_rows_count(answers: list[Answer]) -> None:
    """Groups may share jobs, so the list may be shorter than the sum of the rows, never longer."""
    longer, tried = [], 0
    for answer in {answer.question: answer for answer in answers}.values():
        made = lists_of(answer)
        if made is None or not answer.table.height or {*OF_ONE_ROW} & {*made.keys}:
            continue
        count = next((name for name in made.counts if name in answer.table.columns), None)
        if count is not None:
            tried += 1
            listed, most = answer.jobs(count).table.height, answer.table[count].sum()
            longer += [(answer.question, count, listed, most)] * (listed > most)
    assert longer == []
    assert tried > 15


def test_rows_that_name_jobs_list_them(answers: list[Answer]) -> None:
    """Safety events and releases without tests in order among them."""
    named = {a.question: a for a in answers if not isinstance(made := a.listed(), str) and made.file == CHOSEN}
    assert set(named) >= {"Breaches of the battery's order", "Jobs released without tests in order"}
    for question, answer in named.items():
        listed = answer.jobs().table["job_id"]
        assert sorted(listed) == sorted(answer.table["job_id"].drop_nulls().unique()), question


def test_a_list_says_the_same_of_every_job(answers: list[Answer]) -> None:
    for answer in answers:
        if not isinstance(made := answer.listed(), str) and answer.table.height:
            row = {name: value for name, value in answer.table.row(0, named=True).items() if name in OF_ONE_ROW}
            listed = answer.jobs(**{name: value for name, value in row.items() if name in made.keys})
            names = [name for name in (*JOB_COLUMNS, "cost") if name != "technician"]
            assert set(names) <= set(listed.table.columns), answer.question
            assert "technician" not in listed.table.columns


def test_people_are_named_where_they_are_asked_for(workshop: Path) -> None:
    with rqa.open(workshop) as depot:
        found = depot.comebacks(by="model")
        plain, named = found.jobs(), found.jobs(people=True)
    assert "technician" not in plain.table.columns
    assert named.table.drop("technician").equals(plain.table)
    assert any("coaching" in note for note in named.notes)


def test_a_row_that_is_none_is_answered_with_those_there_are(workshop: Path) -> None:
    with rqa.open(workshop) as depot:
        found = depot.comebacks(by=("model", "month"))
        for row, said in (
            ({"model": "Fauteuil Leger"}, "Did you mean 'Fauteuil Léger'?"), ({"modell": "x"}, "Did you mean 'model'?"),
            ({"month": "2031-01"}, "There is: 2024-06-01"), ({"month": "soon"}, "write it like 2026-05"),
        ):
            with pytest.raises(RequestError) as error:
                found.jobs(**row)
            assert said in str(error.value)
        with pytest.raises(RequestError, match="counts no come-backs"):
            depot.yields.clean().returned()
        with pytest.raises(RequestError, match="There is: jobs, matured, returned"):
            found.jobs("rate")


def test_jobs_that_rows_name_are_asked_for_by_values_that_rows_have(workshop: Path) -> None:
    with rqa.open(workshop) as depot:
        part, name = depot.query("select part_no, lot from parts where lot is not null order by all limit 1").row(0)
        lot = depot.lot(part, name)
        first = lot.table.row(0, named=True)
        day = first["closed_on"]
        on_day = lot.table.filter(pl.col("closed_on") == day)["job_id"].unique().sort().to_list()
        for given in (day, day.isoformat()):
            assert sorted(lot.jobs(closed_on=given).table["job_id"]) == on_day
        for row, said in (
            ({"ended": "still outt"}, "Did you mean 'still out'?"), ({"closed_on": "soon"}, "written like 2026-05-31"),
            ({"closed_on": "1999-01-01"}, "no row of this answer has closed_on"), ({"days": "many"}, "has days 'many'"),
        ):
            with pytest.raises(RequestError) as error:
                lot.jobs(**row)
            assert said in str(error.value)
        for word in lot.may_hold["ended"]:
            ended = lot.table.filter(pl.col("ended") == word)["job_id"].unique().sort().to_list()
            assert sorted(lot.jobs(ended=word).table["job_id"]) == ended
        with pytest.raises(RequestError, match="no part_no 'Z-0' with a lot written down was fitted"):
            depot.lot("Z-0", name)


def test_the_list_of_a_finding_is_of_those_that_it_counts(workshop: Path) -> None:
    """Of every comparison that was made; work that nothing was there to compare with is listed, too."""
    with rqa.open(workshop) as depot:
        found = depot.findings()
        tried = 0
        for kind in dict.fromkeys(f.kind for f in found.stated):
            for f in [f for f in found.stated if f.kind == kind][:2]:
                if kind.startswith(tuple(NO_LIST)):
                    with pytest.raises(RequestError, match="has no list of jobs"):
                        found.jobs(id=f.id)
                    continue
                tried += 1
                listed = found.jobs(id=f.id)
                assert listed.table.height >= f.jobs, (kind, f.scope)
                assert listed.table.height == f.jobs or "left out of the comparison" in listed.notes[-1]
                assert listed.table.equals(asked_for(depot, finding=f.id).table)
        assert tried > 20
        with pytest.raises(RequestError, match="there is no finding 'F-none'"):
            found.jobs(id="F-none")
        with pytest.raises(RequestError, match="name a finding by id"):
            found.jobs()
        with pytest.raises(RequestError, match="a finding has one list, so it takes no count"):
            found.jobs("matured", id=found.stated[0].id)
        checks = next(f for f in found.stated if f.kind.startswith("first-pass yield of a step"))
        with pytest.raises(RequestError, match=f'counts no come-backs; .jobs.id="{checks.id}". lists its checks'):
            found.returned(id=checks.id)


def test_every_kind_of_finding_has_a_list_or_says_why() -> None:
    """Kinds as the sources write them, up to what is put into them."""
    kinds = {
        part.split("{", 1)[0]
        for file in (Path(rqa.__file__).parent / "answers").rglob("*.py")
        for part in re.findall(r'kind=f?"([^"]+ [^"]+)"', file.read_text(encoding="utf-8"))
    }
    assert len(kinds) > 8
    known = {*BEHIND, *NO_LIST}
    assert [k for k in kinds if k and not any(k.startswith(one) or one.startswith(k) for one in known)] == []


def lines_of(workshop: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["jobs", str(workshop), *words])
    return done.exit_code, done.output


def test_lists_from_the_command_line(workshop: Path, tmp_path: Path) -> None:
    with rqa.open(workshop) as depot:
        comebacks = depot.comebacks().table.row(0, named=True)
        part, lot = depot.query("select part_no, lot from parts where lot is not null limit 1").row(0)
        unit = depot.query("select unit_id from jobs order by unit_id limit 1").item()
        technicians = depot.query("select distinct technician from jobs")["technician"].drop_nulls().to_list()
    for words, rows in (
        (("--where", "", "--returned"), comebacks["returned"]), (("--where", ""), comebacks["jobs"]),
    ):
        path = tmp_path / "list.csv"
        code, said = lines_of(workshop, *words, "--to", str(path))
        assert code == 0, said
        assert pl.read_csv(path).height == rows
    for words in (("--lot", f"{part}:{lot}"), ("--unit", unit), ("--breach", "any"), ("--breach", "any", "--returned")):
        code, said = lines_of(workshop, *words)
        assert code == 0, said
        assert not [name for name in technicians if name in said]
        code, named = lines_of(workshop, *words, "--people")
        assert code == 0, named
    code, said = lines_of(workshop, "--where", "", "--to", str(tmp_path / "list.xlsx"))
    assert code == 0
    assert (tmp_path / "list.xlsx").stat().st_size > 1000
    for words, meant in (
        ((), "none was given"), (("--unit", "a", "--lot", "b"), "not --unit and --lot"), (("--lot", "L 2"), "PART:LOT"),
        (("--where", "", "--to", "list.pdf"), ".xlsx or .csv"),
    ):
        code, said = lines_of(workshop, *words)
        assert code == 1
        assert meant in said


def test_what_has_no_list_says_why(answers: list[Answer]) -> None:
    for answer in answers:
        if isinstance(made := answer.listed(), str):
            assert made != Answer.lists, f"{answer.question}: say why there is no list"
            with pytest.raises(RequestError, match="has no list of jobs"):
                answer.jobs()
