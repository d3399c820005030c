"""From a set of rules to a machine: what must be remembered of the past to judge the next point.

Champ and Woodall (Technometrics 29, 1987, 393-399) wrote such a machine down for the zone rules; here it is found by
itself, for any rules that are data. Each rule keeps as little as can still matter to it: of the points in its window,
only those that could be part of a pattern yet. The states of the chart are the combinations of these that can be
reached from the start.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from rqa.spc.patterns import LimitRule, PointRule, TrendRule, ZoneRule

Step = Literal["first", "up", "down", "tie"]
SIGNAL = -1
Memory = tuple[int, ...]
"""What one rule keeps: for a zone, how many points ago each useful one was; for a trend, its direction and length."""


@dataclass(frozen=True)
class RuleWatcher:
    """One side of one rule: told of each point's zone and of the step to it, it says what to keep, or None: signal."""

    rule: PointRule
    hits: tuple[bool, ...]
    """Whether a point in each zone counts for it; empty for a trend, which looks at steps alone."""

    def after(self, kept: Memory, zone: int, step: Step) -> Memory | None:
        """What is kept after one more point, or None if the pattern is complete."""
        if isinstance(self.rule, ZoneRule):
            return _window(kept, self.hits[zone], self.rule.need, self.rule.out_of)
        if isinstance(self.rule, TrendRule):
            return _trend(kept, step, self.rule)
        return None if self.hits[zone] else ()


@dataclass(frozen=True, eq=False)
class MarkovChain:
    """The states that can be reached, by number; state 0 is the chart before its first point.

    `zone_of` is the zone of the latest point (-1 where it does not matter, that is without a trend rule). `moves` holds
    for each state (zone of the next point, step to it, state after it), where the state is SIGNAL if a pattern is
    complete.
    """

    edges: tuple[float, ...]
    zone_of: tuple[int, ...]
    moves: tuple[tuple[tuple[int, Step, int], ...], ...]
    trends: bool
    memory: int


def markov_chain(rules: Sequence[PointRule], width: float, *, on_centre: bool) -> MarkovChain:
    """Find the states and moves for these rules, with limits `width` sigma from the centre.

    With `on_centre` points can lie exactly on the centre line, which is then a zone of its own, from -0.0 to 0.0.
    """
    edges = _edges(rules, width, on_centre)
    watchers = tuple(_watchers(rules, edges, width))
    trends = any(isinstance(rule, TrendRule) for rule in rules)
    zones = len(edges) - 1
    start: tuple[int, tuple[Memory, ...]] = (-1, tuple(() for _ in watchers))
    number = {start: 0}
    order = [start]
    moves: list[tuple[tuple[int, Step, int], ...]] = []
    for last, kept in order:
        found: list[tuple[int, Step, int]] = []
        for zone in range(zones):
            for step in _steps(last, zone, trends, len(moves) == 0):
                after = tuple(_after(watchers, kept, zone, step))
                if len(after) < len(watchers):
                    found.append((zone, step, SIGNAL))
                    continue
                state = (zone if trends else -1, after)
                if state not in number:
                    number[state] = len(order)
                    order.append(state)
                found.append((zone, step, number[state]))
        moves.append(tuple(found))
    return MarkovChain(
        edges=edges,
        zone_of=tuple(last for last, _ in order),
        moves=tuple(moves),
        trends=trends,
        memory=max(_span(rule) for rule in rules),
    )


def _after(watchers: tuple[RuleWatcher, ...], kept: tuple[Memory, ...], zone: int, step: Step) -> Iterator[Memory]:
    """What each watcher keeps, up to the first that signals."""
    for watcher, memory in zip(watchers, kept, strict=True):
        after = watcher.after(memory, zone, step)
        if after is None:
            return
        yield after


def _steps(last: int, zone: int, trends: bool, first: bool) -> tuple[Step, ...]:
    if first or not trends:
        return ("first",)
    if zone != last:
        return ("up",) if zone > last else ("down",)
    return ("down", "tie", "up")


def _edges(rules: Sequence[PointRule], width: float, on_centre: bool) -> tuple[float, ...]:
    edges = {-np.inf, np.inf}
    for rule in rules:
        if isinstance(rule, LimitRule):
            edges |= {-width, width}
        elif isinstance(rule, ZoneRule):
            edges |= {-rule.beyond, rule.beyond, -rule.within, rule.within}
        elif not isinstance(rule, TrendRule):
            raise ValueError(f"rules must be made of limit, zone and trend rules for their run length: {rule!r}")
    below, above = (sorted(float(edge) for edge in edges if np.sign(edge) == side) for side in (-1, 1))
    middle = ([-0.0, 0.0] if on_centre else [0.0]) if 0.0 in edges else []
    return (*below, *middle, *above)


def _watchers(rules: Sequence[PointRule], edges: tuple[float, ...], width: float) -> Iterator[RuleWatcher]:
    middle = np.array([_inside(low, high) for low, high in pairwise(edges)])
    for rule in rules:
        if isinstance(rule, LimitRule):
            yield RuleWatcher(rule, tuple(bool(far) for far in np.abs(middle) > width))
        elif isinstance(rule, ZoneRule):
            for zones in rule.in_zone(middle).values():
                yield RuleWatcher(rule, tuple(bool(hit) for hit in zones))
        else:
            yield RuleWatcher(rule, ())


def _inside(low: float, high: float) -> float:
    """A point within the zone."""
    if np.isinf(low):
        return 0.0 if np.isinf(high) else high - 1.0
    return low + 1.0 if np.isinf(high) else (low + high) / 2.0


def _window(kept: Memory, hit: bool, need: int, out_of: int) -> Memory | None:
    if hit and len(kept) + 1 >= need:
        return None
    ages = [1] * hit + [age + 1 for age in kept if age + 1 < out_of]
    # The oldest is of use only if, before it drops out, there is room for the points still wanting.
    while ages and len(ages) + (out_of - ages[-1]) < need:
        ages.pop()
    return tuple(ages)


def _trend(kept: Memory, step: Step, rule: TrendRule) -> Memory | None:
    way = {"first": 0, "tie": 0, "up": 1, "down": -1}[step]
    if way == 0:
        return ()
    before, steps = kept or (0, 0)
    goes_on = before == (-way if rule.alternating else way)
    steps = steps + 1 if goes_on else 1
    return None if steps >= rule.length - 1 else (way, steps)


def _span(rule: PointRule) -> int:
    if isinstance(rule, ZoneRule):
        return rule.out_of
    return rule.length if isinstance(rule, TrendRule) else 1
