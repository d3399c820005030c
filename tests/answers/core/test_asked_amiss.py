"""Questions asked amiss: whatever is mistyped is answered with what was most likely meant; what is not held is said."""

import inspect
import re
from collections.abc import Iterator
from datetime import datetime
from difflib import SequenceMatcher
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rqa
from rqa.answers.core.action_scope import read_scope, scope_of
from rqa.answers.core.filters import filters_of, read_filters, written
from rqa.asking import Question
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.cases import some_slow
from tests.depots import depot_of
from tests.made_once import Shelf
from tests.odd_depots.questions import asked_of, method, public_questions

NEEDED: dict[str, dict[str, Any]] = {
    "returns.compare_curves": {"by": "model"},
    "returns.recurrence_difference": {"by": "model", "groups": ("Marl-8", "Marl-10")},
    "between": {"before": "2026-01", "after": "2026-02"},
    "technician": {"technician": "T07"},
    "unit": {"unit_id": "M8-000001"},
    "job": {"job_id": "A000001"},
    "lot": {"part_no": "AC-31", "lot": "none such"},
}
"""What a question cannot be asked without."""
NO_WORDS = {
    "progress", "month", "months", "set_aside", "baseline", "lower_limit", "upper_limit", "gauge_sigma", "groups",
    "worst", "longest", "expected", "study", "recall_cost", "job_id",
    "before", "after", "weeks", "technician",
}
"""Arguments that take dates, numbers (a mistyped job is another job), pairs of values or functions, not words; and a
person, as an own sheet names no other."""
NAMES = st.text(st.characters(categories=["Ll"], codec="ascii"), min_size=1, max_size=8)
VALUES = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12)


@pytest.fixture(scope="module")
def depot(shelf: Shelf) -> Iterator[Depot]:
    """A small invented depot with an action."""
    with rqa.open(shelf.demo(300)) as opened:
        yield opened


def words_of(question: str) -> list[str]:
    """The arguments of a question that take words."""
    parameters = list(inspect.signature(method(question)).parameters.values())[1:]
    return [p.name for p in parameters if not isinstance(p.default, int | float) and p.name not in NO_WORDS]


def refused(depot: Depot, question: str, **asked: Any) -> str:
    """What a question says when it cannot be asked so."""
    with pytest.raises(RequestError) as caught:
        asked_of(depot, question)(**{**NEEDED.get(question, {}), **asked})
    said, own = str(caught.value), inspect.unwrap(method(question)).__name__
    assert said.partition(": ")[0] not in Question.asked - {own}, "an error names the question that was asked"
    return said


def likeness(one: str, other: str) -> float:
    """How alike two words are, up to 1."""
    return SequenceMatcher(None, one.casefold(), other.casefold()).ratio()


ASKED = [(question, name) for question in public_questions() for name in words_of(question)]


@pytest.mark.parametrize(("question", "name"), ASKED)
def test_what_is_mistyped_is_answered_with_what_was_meant(depot: Depot, question: str, name: str) -> None:
    def given_as(word: str) -> dict[str, Any]:
        return {name: {word: "x"} if name in ("where", "scope") else word}

    said = refused(depot, question, **given_as("zzz"))
    there = re.search(
        r"(?:There is: |is one of |can name |known of |in the store: )(.*?)(?:\.$|\. |: '|, not of|$)", said
    )
    assert there, said
    words = [w for w in there[1].split(", ") if len(w) > 3 and w != "none"]
    assert words or there[1] == "none", said
    for word in words[:3]:
        mistyped = word[:-2] + word[-1] + word[-2]
        if mistyped != word:
            meant = re.search(r"Did you mean '(.*)'\?$", refused(depot, question, **given_as(mistyped)))
            assert meant
            assert likeness(meant[1], mistyped) >= likeness(word, mistyped)


FILTERED = [question for question in public_questions() if "where" in words_of(question)]


@pytest.mark.parametrize("question", some_slow(FILTERED, FILTERED[::4]))
def test_filters_by_name_and_as_a_text_ask_the_same(depot: Depot, question: str) -> None:
    there = re.search(r"There is: (.*?)\.", refused(depot, question, where={"zzz": "x"}))
    assert there
    names = [n for n in ("model", "site", "procedure", "technician", "test") if n in there[1].split(", ")]
    assert names, there[1]
    name = names[0]
    value = depot.query(f"select {name} as v from {'diagnostics' if name == 'test' else 'jobs'} order by v limit 1")[
        "v"
    ][0]
    ask = asked_of(depot, question)
    more = (
        NEEDED.get(question, {})
        if name != "model"
        else {k: "site" if v == "model" else ("Alder", "Birch") for k, v in NEEDED.get(question, {}).items()}
    )
    by_name, by_text = (_told(ask, where=where, **more) for where in ({name: value}, f"{name}={value}"))
    assert by_name == by_text


def _told(ask: Any, **asked: Any) -> object:
    """An answer's table and notes as plain data, or why there is none."""
    try:
        answer = ask(**asked)
    except RequestError as error:
        return str(error)
    if answer is None or not hasattr(answer, "table"):
        return repr(answer)
    return answer.table.rows(), [str(n) for n in answer.notes]


def test_a_name_with_a_comma_is_told_as_one_name() -> None:
    """What a text takes apart is answered with how to write it whole, and a list of names shows where each ends."""
    people = ("Lark, Ada", "Finch, Bo", "Wren, Cy", None)
    jobs = [
        {"job_id": f"J{n}", "unit_id": f"U{n}", "technician": name, "site": f"Yard, {'East' if n else 'West'}",
         "opened_at": datetime(2024, 3, 1), "closed_at": datetime(2024, 3, 2)}
        for n, name in enumerate(people)
    ]
    with depot_of({"jobs": jobs}) as depot:
        notes = depot.comebacks(where="technician=Finch, Bo").notes
        assert any(
            n.endswith("technician 'Finch'. Put the value in double quotes: technician=\"Finch, Bo\".") for n in notes
        )
        with pytest.raises(RequestError) as of_site:
            depot.comebacks(where="site=Yard, East")
        with pytest.raises(RequestError) as of_person:
            depot.actions.power("technician=Lark, Ada")
    assert 'There is: Yard, East; Yard, West. Put the value in double quotes: site="Yard, East".' in str(of_site.value)
    assert "there is no technician 'Lark' in the store (3 others)" in str(of_person.value)
    assert 'Put the value in double quotes: technician="Lark, Ada".' in str(of_person.value)


def test_a_filter_on_what_no_row_has_says_so() -> None:
    times = {"opened_at": datetime(2024, 3, 1), "closed_at": datetime(2024, 3, 2)}
    with depot_of({"jobs": [{"job_id": "J", "unit_id": "U", **times}]}) as depot:
        for ask in (depot.costs, depot.comebacks):
            with pytest.raises(RequestError, match=r"billing is never given in the store.*billing = "):
                ask(where="billing=paid")


def visits(*found: str | None) -> list[dict[str, Any]]:
    """Two visits of a unit in January and in March for each fault found on the second."""
    return [
        {"job_id": f"J{n}-{month}", "unit_id": f"U{n}", "found": fault if month == 3 else "wheel",
         "opened_at": datetime(2024, month, 1), "closed_at": datetime(2024, month, 2)}
        for n, fault in enumerate(found)
        for month in (1, 3)
    ]


def test_months_in_which_no_job_was_closed_are_told() -> None:
    said = "No job that could come back was closed in February 2024."
    with depot_of({"jobs": visits("wheel")}) as depot:
        assert said in depot.comebacks(months="2024-02").notes
        for months in ("2024-01", None):
            assert not any("was closed in" in n for n in depot.comebacks(months=months).notes)
        assert not any("was closed in" in n for n in depot.comebacks(months="2030-01").notes)


@pytest.mark.parametrize(("found", "told"), [("motor", True), ("wheel", False)])
def test_new_faults_are_spoken_of_where_there_are_some(found: str, told: bool) -> None:
    """Without step logs a come-back with another fault counts as a new one, which is said where there is one."""
    with depot_of({"jobs": visits(found)}) as depot:
        asked = (depot.comebacks(59, by="class"), depot.returns.classes(90), depot.costs(window=90, by="class"))
        for answer in asked:
            assert any("They are counted as new faults." in n for n in answer.notes) is told


@given(st.dictionaries(NAMES, st.lists(VALUES, min_size=1, max_size=4).map(tuple), min_size=1, max_size=4))
def test_whatever_filters_hold_they_are_read_as_they_were_written(where: dict[str, tuple[str, ...]]) -> None:
    assert read_filters("q", written(where)) == where
    assert filters_of("q", where) == where


@given(st.dictionaries(st.sampled_from(["site", "model", "step"]), st.lists(VALUES, min_size=1).map(tuple), min_size=1))
def test_whatever_an_action_names_its_scope_is_read_as_it_was_written(where: dict[str, tuple[str, ...]]) -> None:
    scope = scope_of(where)
    assert read_scope(str(scope)) == scope
    assert scope.where == where


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("model=a=b", ("a=b",)), ('model=5" panel', ('5" panel',)),
        ('model="5"" panel; small",b', ('5" panel; small', "b")),
        (" model = a , b ; ", ("a", "b")), ("model='a'", ("'a'",)),
    ],
)
def test_values_may_hold_what_separates_them(text: str, values: tuple[str, ...]) -> None:
    assert read_filters("q", text) == {"model": values}


@pytest.mark.parametrize("text", ['model="a', 'model="a"b', "model", "=a", "model=", "model=a; ; site", "model=a,,b"])
def test_a_text_that_is_no_filter_says_which_part(text: str) -> None:
    with pytest.raises(RequestError, match=r"quotation mark|is no filter"):
        read_filters("q", text)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        found = read_filters("q", text)
    except RequestError:
        return
    assert all(values and all(values) for values in found.values())


HAS_MONTHS = [q for q in public_questions() if {"months", "month"} & set(inspect.signature(method(q)).parameters)]


@pytest.mark.parametrize("question", HAS_MONTHS)
@pytest.mark.parametrize("month", ["2035-03", "1999-03"])
def test_a_month_without_data_is_said_so(depot: Depot, question: str, month: str) -> None:
    name = "months" if "months" in inspect.signature(method(question)).parameters else "month"
    try:
        answer = asked_of(depot, question)(**{**NEEDED.get(question, {}), name: month})
    except RequestError as error:
        said = [str(error)]
    else:
        said = [str(note) for note in answer.notes] if hasattr(answer, "notes") else []
    if question not in ("grounds", "returns.recurrence_difference", "actions.power"):
        assert any(month[:4] in one and ("January 2025 to June 2026" in one or "2026-06-30" in one) for one in said), (
            said
        )


@pytest.mark.parametrize(
    ("question", "where", "said"),
    [
        ("comebacks", {"technician": "T001"}, "technician 'T001'"), ("comebacks", "bench=A-11", "bench 'A-11'"),
        ("first_pass_yield", {"tool": "nothing"}, "tool 'nothing'"),
        ("yields.failures", {"fault": "zzz"}, "fault 'zzz'"),
        ("returns.curve", {"lot": "L-0"}, "lot 'L-0'"), ("returns.cohorts", "part_no=zzz", "part no 'zzz'"),
    ],
)
def test_a_value_that_no_row_has_is_noted(depot: Depot, question: str, where: Any, said: str) -> None:
    notes = asked_of(depot, question)(where=where).notes
    assert any(f"No row of the store has {said}" in note for note in notes), notes


def test_the_value_nearest_to_a_mistyped_one_is_named(depot: Depot) -> None:
    bench = depot.query("select bench from steps where bench is not null order by bench limit 1")["bench"][0]
    notes = depot.comebacks(where={"bench": bench.lower() + "x"}).notes
    assert any(f"The nearest is {bench!r}." in note for note in notes), notes
    assert not any("No row" in note for note in depot.comebacks(where={"bench": bench}).notes)


@pytest.mark.parametrize("by", ["step", "bench", "tool", "phase", "test", "station", "site", "month", "class"])
def test_jobs_that_have_not_matured_are_told_however_a_rate_is_grouped(depot: Depot, by: str) -> None:
    notes = depot.comebacks(by=by).notes
    assert any("have not matured: not in the rate" in note for note in notes), notes
    assert depot.comebacks().notes[0].split(" closed")[0] in " ".join(notes)
