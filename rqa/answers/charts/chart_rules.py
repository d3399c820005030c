"""Which rules a depot's chart is put to, how its signals are worded, and how often steady work raises a false alarm."""

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from rqa.errors import RequestError
from rqa.words import there_is

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rqa.spc import Chart, Signal
    from rqa.spc.patterns import PointRule

RULES = ("few", "limits", "western_electric", "nelson")
SIDES = {"above": "above the upper limit", "below": "below the lower limit"}
TRIED = 10_000
"""Steady charts that are tried out where a rule about trends makes the exact chance slow to find."""


def rules_named(question: str, name: str) -> "tuple[PointRule, ...]":
    """The rules behind a name: few (the limits, and eight in a row), limits, western_electric, nelson."""
    from rqa.spc import MONTHLY, NELSON, WESTERN_ELECTRIC, beyond_limits

    known = dict(zip(RULES, (MONTHLY, (beyond_limits,), WESTERN_ELECTRIC, NELSON), strict=True))
    if name not in known:
        raise RequestError(f"{question}: there are no rules {name!r}. {there_is(name, RULES)}")
    return known[name]


def in_words(signal: "Signal") -> str:
    """A signal as said: which limit, or which pattern on which side."""
    from rqa.spc.rules import BEYOND_LIMITS, SIX_IN_A_TREND

    if signal.rule == BEYOND_LIMITS:
        return SIDES[signal.side]
    if signal.rule == SIX_IN_A_TREND.name:
        return "six in a row, steadily " + ("up" if signal.side == "above" else "down")
    pattern = signal.rule.removesuffix(", same side")
    return pattern if pattern == signal.rule else f"{pattern}, {signal.side} the centre"


def signals_by_point(chart: "Chart", points: int) -> list[str]:
    """For each point the words of its signals, "" without one."""
    found: list[list[str]] = [[] for _ in range(points)]
    for signal in chart.signals:
        found[signal.index].append(in_words(signal))
    return ["; ".join(words) for words in found]


def false_alarms(
    rules: "Sequence[PointRule]", *, points: int, charts: int, span: str, a_point: float | None = None
) -> str:
    """A sentence on how often steady work raises an alarm under these rules.

    `a_point` is the chance of an alarm at each point where the limits alone judge and are not those of near-normal
    points.
    """
    names = "; ".join(rule.name for rule in rules)
    one = _chance(tuple(rules), points) if a_point is None else 1.0 - (1.0 - a_point) ** points
    return _said(names, one, charts, span) + ("." if a_point is not None else ", if its points are near normal.")


def ewma_false_alarms(*, weight: float, width: float, points: int, charts: int, span: str) -> str:
    """The same for an EWMA, which its limits alone judge."""
    from rqa.spc import EwmaDesign, run_length
    from rqa.spc.rules import BEYOND_LIMITS

    one = float(run_length(EwmaDesign(weight=weight, width=width)).alarm_chance(points))
    return _said(BEYOND_LIMITS, one, charts, span) + ", if its points are near normal."


def _said(names: str, one: float, charts: int, span: str) -> str:
    said = f"Rules: {names}. Steady work raises a false alarm {span} with a chance of {_percent(one)} on a chart"
    return said + (f", {_percent(1.0 - (1.0 - one) ** charts)} on one or another of these {charts}" * (charts > 1))


@lru_cache(maxsize=64)
def _chance(rules: "tuple[PointRule, ...]", points: int) -> float:
    from rqa.spc import false_alarm_chance
    from rqa.spc.patterns import TrendRule

    if any(isinstance(rule, TrendRule) for rule in rules):
        return _tried(rules, points)
    return false_alarm_chance(rules, points=points)


def _tried(rules: "tuple[PointRule, ...]", points: int) -> float:
    return float(_steady_alarms(rules, points).any(axis=-1).mean())


def _steady_alarms(rules: "tuple[PointRule, ...]", points: int) -> "NDArray[np.bool_]":
    """Which points of steady charts carry a signal: charts x points."""
    import numpy as np

    from rqa.spc import Chart, signal_masks

    z = np.random.default_rng(1).standard_normal((TRIED, points))
    flat = np.zeros_like(z)
    steady = Chart(values=z, centre=flat, lower=flat - 3.0, upper=flat + 3.0, sigma=flat + 1.0)
    masks = [mask for sides in signal_masks(steady, rules).values() for mask in sides.values()]
    return np.asarray(np.any(masks, axis=0), dtype=np.bool_)


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 0.995 else "nearly 100 %"
