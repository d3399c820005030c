"""Every public function of `rqa.stats` and `rqa.spc`, asked with hostile values, argument by argument.

Each call either answers, with limits in order, chances above 0 and scores that are finite, or raises a ValueError that
names the argument. Warnings are errors in all tests, so a division by 0 on the way is found too.
"""

import inspect
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from rqa.stats import Margin
from tests.stats.ordinary_calls import ORDINARY, functions, result_arrays

FUNCTIONS = functions()
NOT_LIMITS = {"CusumChart", "BernoulliCusum", "RiskAdjustedCusum"}
"""Their `low` and `high` are sums, and `lower` and `upper` belong to one of the two."""
ECHOED = {"p0", "p1", "p_values"}
"""Chances that were given, not found; those adjusted from a given 0 are 0."""
NEVER = {"masked", "of truths", "text", "mapping", "complex", "nothing"}
"""What no argument of numbers takes, but for those of `TAKEN`, and nothing where it may be left out."""
TAKEN = {
    ("bernoulli_cusum", "event", "of truths"),
    ("risk_adjusted_cusum", "outcome", "of truths"),
    ("failure_signatures", "marks", "of truths"),
    ("masked_cause_mle", "candidates", "of truths"),
}
SCALED = 10**3, 10**6, 10**9, 10**12
NOT_COUNTS = {"day", "period", "event", "outcome", "place", "pattern", "candidates", "stages", "marks", "time", "unit"}
"""Whole numbers that are no counts of cases."""


def test_every_public_function_has_its_ordinary_call():
    assert set(FUNCTIONS) == set(ORDINARY)


def numbers(value: Any) -> bool:
    if not isinstance(value, list) or not value:
        return False
    flat = np.asarray(value, dtype=object).ravel()
    return all(one is None or (isinstance(one, int | float) and not isinstance(one, bool)) for one in flat)


def hostile(value: Any) -> Iterator[tuple[str, Any]]:
    """Values to ask with in place of an ordinary one, each with its name."""
    if numbers(value):
        clean = np.array(np.asarray(value, dtype=object), dtype=np.float64)
        first = np.zeros(clean.shape, dtype=bool)
        first.flat[0] = True

        def put(one: Any) -> Any:
            changed = np.array(value, dtype=object)
            changed.flat[0] = one
            return changed.tolist()

        yield "masked", np.ma.masked_array(np.nan_to_num(clean), mask=first)
        yield "of truths", np.nan_to_num(clean) > 1
        yield "text", put("x")
        yield "mapping", {"a": 1}
        yield "complex", put(1j)
        yield "nothing", None
        yield "with NaN", put(math.nan)
        yield "with None", put(None)
        yield "negative", put(-1)
        yield "infinite", put(math.inf)
        yield "half", put(0.5)
        yield "huge", put(2**53)
        yield "beyond all", put(1e300)
        yield "all zero", np.zeros(clean.shape).tolist()
        yield "one number", 3
        yield "deeper", [value]
        yield "empty", []
    elif isinstance(value, float | int) and not isinstance(value, bool):
        yield from (
            ("NaN", math.nan), ("None", None), ("true", True), ("negative", -1), ("zero", 0), ("infinite", math.inf),
            ("huge", 2**53), ("beyond all", 1e300), ("tiny", 1e-300), ("text", "x"), ("two", [1, 2]), ("half", 0.5),
            ("complex", 1j), ("in a row", np.array([1.0])),
        )
    elif isinstance(value, str):
        yield from (("a word", "nonsense"), ("None", None), ("a number", 3), ("a row", ["a"]), ("array", np.ones(2)))
    else:
        yield from (
            ("None", None), ("a number", 3), ("a word", "nonsense"), ("a row", [1, 2]), ("empty", []), ("mapping", {}),
        )


def may_be_left_out(ask: Any, argument: str) -> bool:
    known = inspect.signature(Margin if ask is FUNCTIONS["Margin"] else ask).parameters
    return known[argument].default is None


def wrong(name: str, answer: Any) -> list[str]:
    """What an answer must not hold."""
    if type(answer).__name__ in NOT_LIMITS:
        return []
    found, arrays = [], result_arrays(answer)
    for field, given in arrays.items():
        if given.dtype.kind not in "iuf":
            continue
        last, a = field.split(".")[-1], given.astype(np.float64)
        if last.startswith("p_") or last.endswith("_p"):
            if last not in ECHOED and name != "benjamini_hochberg" and ((a <= 0) | (a > 1)).any():
                found.append(f"{field} must be above 0 and at most 1: {a}")
        elif (last == "z" or last.startswith("z_")) and np.isinf(a).any():
            found.append(f"{field} must be finite: {a}")
        elif (last == "se" or "error" in last) and ((a < 0) | np.isinf(a)).any():
            found.append(f"{field} must be finite and not negative: {a}")
        for low, high in (("low", "high"), ("lower", "upper")):
            other = arrays.get(field.replace(low, high)) if low in last else None
            if other is None or field.replace(low, high) == field:
                continue
            b = np.asarray(other, dtype=np.float64)
            if (a > b).any() or (np.isnan(a) != np.isnan(b)).any():
                found.append(f"{field} and {field.replace(low, high)} must be known together, and in order: {a}, {b}")
    return found


@pytest.mark.parametrize("name", sorted(ORDINARY))
def test_an_answer_in_order_or_an_error_that_names_the_argument(name):
    ask, ordinary, found = FUNCTIONS[name], ORDINARY[name], []
    assert not wrong(name, ask(**ordinary))
    for argument, value in ordinary.items():
        for kind, instead in hostile(value):
            try:
                answer = ask(**{**ordinary, argument: instead})
            except ValueError as refused:
                # A chart without points has no place for a stage.
                named = argument in str(refused) or (kind == "empty" and "stages" in str(refused))
                found += [] if named else [f"{argument}, {kind}: not named: {refused}"]
            except Exception as broken:
                found.append(f"{argument}, {kind}: {type(broken).__name__}: {broken}")
            else:
                found += [f"{argument}, {kind}: {what}" for what in wrong(name, answer)]
                allowed = (name, argument, kind) in TAKEN or (kind == "nothing" and may_be_left_out(ask, argument))
                if kind in NEVER and numbers(value) and not allowed:
                    found.append(f"{argument}, {kind}: taken without a word")
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", sorted(ORDINARY))
def test_counts_a_thousand_to_a_million_million_times_as_many(name):
    """All counts of a call at once, so that they still fit each other: products of them must not run over."""
    ask, ordinary, found = FUNCTIONS[name], ORDINARY[name], []

    def whole(value: Any) -> bool:
        return numbers(value) and all(isinstance(one, int) for one in np.asarray(value, dtype=object).ravel())

    counts = [argument for argument, value in ordinary.items() if whole(value) and argument not in NOT_COUNTS]
    for times in SCALED if counts else ():
        scaled = {argument: (np.asarray(ordinary[argument], dtype=object) * times).tolist() for argument in counts}
        try:
            answer = ask(**{**ordinary, **scaled})
        except ValueError as refused:
            found += [] if "at most" in str(refused) or "above" in str(refused) else [f"{times}: {refused}"]
        else:
            found += [f"{times}: {what}" for what in wrong(name, answer)]
    assert not found, "\n".join(found)
