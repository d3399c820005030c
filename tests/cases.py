"""Which cases of a dear table the gate asks: CI asks the others in its second part."""

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def some_slow(cases: Iterable[Any], stay: int | Collection[Any]) -> list[Any]:
    """The cases of a table, of which the first `stay`, or those that `stay` names, are asked in the gate.

    A tuple is a case of several values. What is marked already is left as it is.
    """
    held = list(cases)
    asked = held[:stay] if isinstance(stay, int) else [case for case in held if case in stay]
    assert asked, "one case at least stays in the gate"
    return [case if _marked(case) or any(case is one for one in asked) else _slow(case) for case in held]


def _marked(case: Any) -> bool:
    return hasattr(case, "marks")


def _slow(case: Any) -> Any:
    return pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow)
