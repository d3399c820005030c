"""What help shows of a question and of a function of statistics: types by their names, and the same default windows."""

import inspect
import re
from types import ModuleType

import pytest

import rqa.spc
import rqa.stats
from tests.odd_depots.questions import method, public_questions


def parameters(question: str) -> dict[str, inspect.Parameter]:
    return dict(list(inspect.signature(method(question)).parameters.items())[1:])


def test_every_question_asks_within_the_same_window() -> None:
    windows = {q: parameters(q)["window"].default for q in public_questions() if "window" in parameters(q)}
    assert len(windows) > 25
    assert set(windows.values()) == {30}, windows


@pytest.mark.parametrize("question", [q for q in public_questions() if q != "grounds"])  # a method of its own
def test_the_types_of_a_question_are_read_at_a_glance(question: str) -> None:
    written = [str(each).split(" = ")[0] for each in parameters(question).values()]
    assert not [text for text in written if re.search(r"\w\.\w|: '|Optional|Union", text)], written
    assert all(len(text) <= 100 for text in written), written


@pytest.mark.parametrize("room", [rqa.stats, rqa.spc])
def test_the_types_of_statistics_are_read_at_a_glance(room: ModuleType) -> None:
    functions = [f for f in (getattr(room, name) for name in room.__all__) if inspect.isfunction(f)]
    assert len(functions) > 8
    for function in functions:
        for each in inspect.signature(function).parameters.values():
            written = str(each).split(" = ")[0]
            assert "numpy" not in written, (function.__name__, written)
            assert len(written) <= 80, (function.__name__, written)


@pytest.mark.parametrize("question", [q for q in public_questions() if q != "grounds"])
def test_help_says_what_a_question_takes_and_shows_an_answer(question: str) -> None:
    said = inspect.getdoc(method(question)) or ""
    assert [name for name in parameters(question) if not re.search(rf"\b{name}\b", said)] == []
    # A month's findings take a quarter of a minute, so they are asked in the tests and notebooks, not by an example.
    assert f">>> {'r = ' if 'r = depot' in said else ''}depot.{question}(" in said or question == "findings"
