"""A comparison made over the last 3, 6, 12 and 24 months: the surest is told, allowing for the choice.

What began two months ago drowns in two years of work; what has always been so is seen best in all of them.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from rqa.answers.core.finding import Finding
from rqa.answers.core.scope import months_back
from rqa.words import counted, listed

Span = tuple[date, date]
SHORTER = (3, 6, 12)
"""Months of the windows within the whole span; each ends with it."""


def nested(span: Span) -> tuple[Span, ...]:
    """The windows of a span of months, from the shortest to the span itself; each ends where it does."""
    first, last = span
    inside = tuple((months_back(last, n - 1), last) for n in SHORTER)
    return (*(w for w in inside if w[0] > first), span)


def pieces(windows: Sequence[Span]) -> tuple[Span, ...]:
    """The months that each window has beyond the one before, so that none is counted twice."""
    begins = [first for first, _ in windows]
    return tuple(
        (first, last if k == 0 else months_back(begins[k - 1], 1)) for k, (first, last) in enumerate(windows)
    )


def level_of_each(windows: Sequence[Span], level: float = 0.95) -> float:
    """The level of each window's limits at which those of all hold together (Bonferroni)."""
    return 1.0 - (1.0 - level) / len(windows)


def surest(windows: Sequence[Span], stated: Sequence[Iterable[Finding]]) -> Iterator[Finding]:
    """Of each place the finding of the window in which it is surest to be worse, its p-value allowing for the choice.

    `stated` are the findings of each window, of which only the worse side is told (`mirrored`). A place that is worse
    in no window is stated over the longest. One window alone is stated as it is.
    """
    from rqa.stats import surest_window

    places: dict[tuple[object, ...], dict[int, Finding]] = {}
    for k, found in enumerate(stated):
        for f in found:
            places.setdefault((f.kind, *sorted(f.scope.items())), {})[k] = f
    chosen = [(at, _worst(at)) for at in places.values()]
    told = [(at, k) for at, k in chosen if k is not None]
    held = np.zeros((len(told), len(windows)))
    for row, (at, _) in enumerate(told):
        for k, f in at.items():
            held[row, k] = f.jobs
    smallest = [at[k].p_value / 2.0 for at, k in told if k is not None]
    worth = iter(surest_window(smallest=smallest, information=held).p_value.tolist() if told else ())
    for at, place in chosen:
        if place is None:
            longest = max(at)
            yield replace(at[longest], months=windows[longest])
        else:
            yield replace(at[place], months=windows[place], p_value=min(1.0, 2.0 * next(worth)))


def _worst(at: dict[int, Finding]) -> int | None:
    """The window in which the place is surest to be worse, the longer of two alike; none where it is in no window."""
    worse = [k for k, f in at.items() if f.worse]
    return min(worse, key=lambda k: (at[k].p_value, -k), default=None)


def windows_note(windows: Sequence[Span]) -> tuple[str, ...]:
    """How the windows were looked at, in words."""
    shorter = SHORTER[: len(windows) - 1]
    if not shorter:
        return ()
    spans = listed([*(str(n) for n in shorter[:-1]), counted(shorter[-1], "month")])
    return (
        f"People, places, steps and kinds of work were compared over the last {spans} and over all: "
        "the surest is told, with its months. p_value allows for the choice, and the limits of all these spans "
        "hold together.",
    )
