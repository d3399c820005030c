"""A depot limited to a part: every answer is the one asked with these filters, and says what it is not limited to."""

import inspect
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from rqa.depot import Depot
from rqa.errors import RequestError, UnknownNameError
from tests.depots import depot_of
from tests.odd_depots.questions import asked_of, method, public_questions, required

START = datetime(2026, 1, 5, 9)


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    jobs: list[dict[str, Any]] = []
    for n in range(60):
        opened = START + timedelta(days=n)
        jobs.append({
            "job_id": f"J{n}", "unit_id": f"U{n % 45}", "site": ("Alder", "Birch")[n % 2],
            "model": ("Marl-8", "Marl-10")[n // 2 % 2], "opened_at": opened, "closed_at": opened + timedelta(hours=5),
        })
    steps = [{"job_id": j["job_id"], "step": "open", "ended_at": j["closed_at"]} for j in jobs]
    with depot_of({"jobs": jobs, "steps": steps}, date(2026, 5, 1)) as made:
        yield made


def said_by(depot: Depot, name: str, **how: Any) -> Any:
    """The answer, or the error that there is instead."""
    try:
        return asked_of(depot, name)(**how)
    except RequestError as error:
        return error


WHERE, MONTHS = {"site": ("Alder",), "model": ("Marl-8",)}, ("2026-01", "2026-02")


def test_every_question_is_asked_with_the_filters_months_and_window(depot: Depot) -> None:
    """Each question that takes them is answered as when they are written out."""
    limited = depot.limited_to(site="Alder", model=["Marl-8"], procedure=None, months=MONTHS, window=20)
    compared = 0
    for name in public_questions():
        takes = inspect.signature(method(name)).parameters
        own: dict[str, Any] = {"window": 20} if "window" in takes else {}
        own |= {"months": MONTHS} if "months" in takes and name != "actions.power" else {}
        own |= {"where": WHERE} if "where" in takes else {}
        if required(name) or not own:
            continue
        found, expected = said_by(limited, name), said_by(depot, name, **own)
        if isinstance(expected, UnknownNameError):
            continue
        if isinstance(expected, RequestError):
            assert str(found) == str(expected)
        if hasattr(expected, "table"):
            assert found.table.equals(expected.table), name
            assert dict(found.settings) == dict(expected.settings), name
        compared += 1
    assert compared > 35


def test_what_a_question_says_itself_comes_first(depot: Depot) -> None:
    limited = depot.limited_to(site="Alder", window=20)
    assert limited.comebacks(window=40).settings["window"] == 40
    assert limited.comebacks(where={"site": "Birch"}).settings["where"] == {"site": ("Birch",)}
    asked = limited.comebacks(where="model=Marl-10").settings["where"]
    assert asked == {"site": ("Alder",), "model": ("Marl-10",)}
    assert limited.comebacks(40).settings["window"] == 40
    assert limited.control_chart("first_pass_yield").settings["where"] == {"site": ("Alder",)}


def test_a_note_says_what_an_answer_is_not_limited_to(depot: Depot) -> None:
    limited = depot.limited_to(site="Alder", months="2026-01")
    assert limited.data.held_by_site().notes[-1] == (
        "This answer is not limited to January 2026; site=Alder: the question does not take that."
    )
    assert not any("not limited" in note for note in limited.comebacks().notes)


def test_a_filter_that_a_question_lacks_is_left_out_and_said(depot: Depot) -> None:
    limited = depot.limited_to(step="open", site="Alder")
    assert limited.first_pass_yield().settings["where"] == {"step": ("open",), "site": ("Alder",)}
    cohorts = limited.returns.cohorts()
    assert cohorts.settings["where"] == {"site": ("Alder",)}
    assert cohorts.notes[-1] == "This answer is not limited to step=open: the question does not take that."
    assert cohorts.table.equals(depot.returns.cohorts(where={"site": "Alder"}).table)


def test_its_own_mistakes_are_errors_of_the_question(depot: Depot) -> None:
    limited = depot.limited_to(site="Alder")
    with pytest.raises(RequestError, match=r"comebacks: there is no filter 'sight'"):
        limited.comebacks(where={"sight": "Alder"})
    with pytest.raises(TypeError):
        limited.comebacks(30, 40)  # type: ignore[misc]


@pytest.mark.parametrize(("how", "said"), [
    ({"site": "Elder"}, r"limited_to: there is no site 'Elder' in the store\. There is: Alder, Birch.*Did you mean"),
    ({"sight": "Alder"}, r"limited_to: there is no filter 'sight'.*Did you mean 'site'"),
    ({"site": 5}, "limited_to: site takes a text or a list of texts, not 5"),
    ({"window": -1}, "limited_to: window is a whole number of days, 0 to 3,650: -1"),
    ({"months": "soon"}, "limited_to: 'soon' is no month"),
])
def test_what_is_not_there_is_an_error(depot: Depot, how: dict[str, Any], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        depot.limited_to(**how)


def test_it_says_what_it_is_limited_to(depot: Depot) -> None:
    assert repr(depot.limited_to()) == repr(depot)
    assert repr(depot.limited_to(site="Alder", months=MONTHS)).endswith(
        ", site=Alder; January 2026 to February 2026>"
    )
