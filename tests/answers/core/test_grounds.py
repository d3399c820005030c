"""What a statement that nothing was found rests on: a closed list, checked against the store, carried with the text."""

import inspect
import pickle
import sys
from collections.abc import Iterator
from typing import Any, get_type_hints

import pytest

from rqa.answers.core import result
from rqa.answers.core.ground_list import GROUNDS
from rqa.answers.core.grounds import CANNOT, Sentence, grounds
from rqa.answers.core.needs import OF_GROUPING, OF_MEASURE, needs
from rqa.contract import TABLES
from rqa.depot import Depot
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from tests.answers.steps.test_odd_depots import DEPOTS
from tests.depots import depot_of
from tests.odd_depots.questions import asked_of, method, public_questions


@pytest.fixture(scope="module")
def bare() -> Iterator[Depot]:
    """Jobs and steps; nothing says what a procedure is."""
    with depot_of(DEPOTS["no procedures"]()) as opened:
        yield opened


def returned(ask: Any) -> type:
    """The type that a question gives back; NoneType for one that may give none."""
    given = get_type_hints(inspect.unwrap(ask), vars(sys.modules[inspect.unwrap(ask).__module__]))["return"]
    return given if isinstance(given, type) else type(None)


def answers() -> set[type[result.Answer]]:
    """The types of answers that a depot gives."""
    return {kind for kind in map(returned, map(method, public_questions())) if issubclass(kind, result.Answer)}


def test_every_ground_is_asked_of_the_store(bare: Depot) -> None:
    asked = counts(bare._store, "grounds", values={
        "as_of": bare.as_of.date(), "window": 30, "first_on": "1990-01-01", "last_on": "2100-01-01",
        **{f"only_{name}": [] for name in JOB_NAMES},
    })
    assert set(asked.columns) == set(GROUNDS)
    assert set(asked.row(0)) == {0, 1}
    assert all(g.name == name and {g.beside, g.after} <= {"", *GROUNDS} for name, g in GROUNDS.items())


def test_every_question_says_what_it_rests_on() -> None:
    kinds = answers()
    assert len(kinds) > 60
    named = [*(kind.needs for kind in kinds), *OF_GROUPING.values(), *OF_MEASURE.values()]
    assert {name for names in named for name in names} <= set(GROUNDS)


def test_every_answer_prints_as_text_and_not_as_the_fields_it_is_made_of() -> None:
    raw = [kind.__name__ for kind in answers() if kind.__repr__ is not result.Answer.__repr__]
    assert raw == []


def test_a_table_or_column_of_the_contract_can_be_named_as_missing() -> None:
    """What is to be added is something that the mapping knows."""
    for ground in GROUNDS.values():
        assert not ground.adds or ground.adds in TABLES
        assert ground.maps is None or ground.maps[1] in TABLES[ground.maps[0]].names
        assert ground.adds or ground.maps or ground.remedy or ground.name.endswith("_there"), ground.name


def test_what_is_there_is_claimed_and_what_is_not_cannot_be_told(bare: Depot) -> None:
    there = bare.grounds()
    said = there.claim("No step failed.", "steps", "checks", about="whether a step failed")
    assert (said, said.told, said.rests_on, said.lacks) == ("No step failed.", True, ("steps", "checks"), ())
    not_said = there.claim("All is in order.", "steps", "subsystems", "isolation", about="whether all is in order")
    assert not_said == (
        f"{CANNOT}whether all is in order, as the table “procedures” is not loaded. Add to sources.toml a [[table]] "
        'with table = "procedures".'
    )
    assert not not_said.told
    assert not_said.lacks == ("procedures",), "what only follows from that is not said, too"
    assert not_said.rests_on == ("steps", "subsystems", "isolation")
    none = there.claim("All are alike.", "steps", about="whether they differ", among=(0, "benches with enough work"))
    assert none == f"{CANNOT}whether they differ, as there are no benches with enough work."
    assert none.lacks


def test_a_sentence_is_kept_whole() -> None:
    said = Sentence("Nothing.", ("steps",), ("steps",))
    again = pickle.loads(pickle.dumps(said))
    assert (again, again.rests_on, again.lacks) == (said, said.rests_on, said.lacks)
    assert f"{said}" == "Nothing."


def test_grounds_are_those_of_the_day_the_months_and_the_window(bare: Depot) -> None:
    """The jobs of January to April 2025, all but one closed until 14 January, come-backs five days later."""
    assert "matured_jobs" in bare.grounds(window=60).present
    assert "matured_jobs" not in bare.grounds(window=100).present
    assert "logged_there" in bare.grounds(("2025-01", "2025-01")).present
    april = bare.grounds("2025-04")
    assert {"closed_there"} == april.present & {"closed_there", "logged_there", "tested_there"}
    assert "closed in April 2025" in april.claim("None.", "logged_there", about="that")
    assert grounds(bare._snapshot) is grounds(bare._snapshot), "an open store is asked once"


@pytest.mark.parametrize(
    ("ask", "asked", "lacks"),
    [
        ("comebacks", {}, ()),
        ("comebacks", {"by": "bench"}, ()),
        ("returns.curve", {"by": "lot"}, ("parts",)),
        ("comebacks", {"by": "technician"}, ("technician",)),
        ("steps.risk", {}, ("procedures",)),
        ("steps.battery_breaches", {}, ("procedures",)),
        ("tests.escapes", {}, ("diagnostics", "tests")),
        ("first_pass_yield", {"by": "test"}, ("diagnostics",)),
        ("control_chart", {"measure": "labour_minutes"}, ("labour_minutes",)),
        ("compare", {"who": "bench", "outcome": "first_pass"}, ()),
    ],
)
def test_an_answer_says_first_what_it_lacks(
    bare: Depot, ask: str, asked: dict[str, Any], lacks: tuple[str, ...]
) -> None:
    answer = asked_of(bare, ask)(**asked)
    first = answer.notes[0] if answer.notes else ""
    assert (first.lacks if isinstance(first, Sentence) else ()) == lacks
    if lacks:
        assert set(lacks) <= set(needs(answer)) | {GROUNDS[n].beside for n in needs(answer)}


def test_every_answer_of_a_depot_leaves_by_the_same_door() -> None:
    """Each public question that returns an answer says what it lacks."""
    asked = {name: method(name) for name in public_questions()}
    told = {name for name, one in asked.items() if issubclass(returned(one), result.Answer)}
    assert set(asked) - told == {"grounds", "charts.level", "charts.month_against_before"}
    assert [name for name in told if not hasattr(asked[name], "__wrapped__")] == []


def test_an_empty_table_says_what_was_looked_for() -> None:
    with depot_of(DEPOTS["all pass, no times"]()) as depot:
        told = [n for n in depot.steps.battery_breaches().notes if isinstance(n, Sentence)]
    assert told == ["No breach of the battery's order is logged in the jobs asked about."]
    assert "isolation" in told[0].rests_on
