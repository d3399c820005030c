"""Earlier names of arguments: they ask the same as the new ones, and the warning says the new one."""

import inspect
from typing import Any

import pytest

from rqa import plot
from rqa.depot import Depot
from rqa.renamed import ARGUMENTS, earlier_arguments
from tests.answers.core.test_asked_amiss import NEEDED
from tests.answers.core.test_asked_amiss import depot as depot
from tests.odd_depots.questions import asked_of, method, public_questions

VALUES: dict[str, Any] = {
    "index_disposition": "no_fault_found", "min_cases": 7, "limit": 3, "max_groups": 4, "min_overlap": 0.8,
    "false_alarm_months": 30.0,
}
"""A value other than the usual one of each argument that has an earlier name."""
RENAMED = [
    (question, old, new)
    for question in public_questions() for old, names in ARGUMENTS.items() for new in names
    if new in inspect.signature(method(question)).parameters
]


def test_every_earlier_name_is_of_some_question() -> None:
    assert {old for _, old, _ in RENAMED} == set(ARGUMENTS)
    assert set(VALUES) == {new for names in ARGUMENTS.values() for new in names}


@pytest.mark.parametrize(("question", "old", "new"), RENAMED)
def test_an_earlier_name_is_taken_with_a_warning(depot: Depot, question: str, old: str, new: str) -> None:
    """The argument reaches the question under its new name, and the warning points at the caller."""
    taken: list[dict[str, Any]] = []
    own = inspect.signature(inspect.unwrap(method(question)))

    def ask(**given: Any) -> None:
        taken.append(given)

    ask.__signature__ = own  # type: ignore[attr-defined]
    with pytest.warns(DeprecationWarning, match=f"{old} is called {new} now") as told:
        earlier_arguments(ask)(**{old: VALUES[new]})
    assert taken == [{new: VALUES[new]}]
    assert told[0].filename == __file__
    with pytest.raises(TypeError, match=f"{old} is the earlier name of {new}"):
        asked_of(depot, question)(**NEEDED.get(question, {}), **{old: VALUES[new], new: VALUES[new]})


def test_an_answer_asked_by_an_earlier_name_is_the_same(depot: Depot) -> None:
    with pytest.warns(DeprecationWarning, match="index is called index_disposition now") as told:
        earlier = depot.comebacks(index="no_fault_found")  # type: ignore[call-arg]
    assert told[0].filename == __file__
    answer = depot.comebacks(index_disposition="no_fault_found")
    assert earlier.table.equals(answer.table)
    assert earlier.settings == answer.settings
    assert answer.settings["index_disposition"] == "no_fault_found"
    shares = depot.first_pass_yield(by="step")
    with pytest.warns(DeprecationWarning, match="most is called limit now") as told:
        drawn = plot(shares, most=2)  # type: ignore[call-arg]
    assert told[0].filename == __file__
    assert drawn.to_dict() == plot(shares, limit=2).to_dict() != plot(shares, limit=3).to_dict()
