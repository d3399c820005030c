"""People at single steps: each beside what the same work brings at the person's own level over all steps."""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from rqa.answers.compare.allowances import GROUPS_FOR_SPREAD
from rqa.answers.compare.comparison_findings import LOOK, PEOPLE
from rqa.answers.compare.expected_counts import UNKNOWN
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.finding import Finding
from rqa.words import counted_of

BY = ("technician", "procedure", "step", "model")
KIND = "first checks of a step that failed, by who did the work"
"""The kind of finding."""
EXPECTED = 2.0
"""Failures expected of a person at a step below which nothing is said: twice as many could not be told."""
Totals = Mapping[tuple[Any, ...], tuple[int, int]]


def people_at_steps(totals: Totals, level: float) -> Iterator[Finding]:
    """State each person at each step; `totals` are passed and checked by technician, procedure, step and model.

    A step's share of failures on a model is that of all who do it there; a person's level is their failures over what
    these shares bring on all they do. So one who fails more often everywhere is not named at every step. The variance
    of a count less its expectation is that of the checks, less what the step's own share and the person's own level
    take from it; where people's steps as a whole vary more than that, p-values allow for it (phi, Spiegelhalter 2005).
    """
    from rqa.stats import expectation_test, overdispersion, standardised_ratio

    keys = [key for key, (_, n) in totals.items() if n]
    people_of = Counter(key[1:] for key in keys if key[0] != UNKNOWN)
    keys = [key for key in keys if people_of[key[1:]] > 1]
    if not keys:
        return
    failed, n = (np.array(each, dtype=np.float64) for each in zip(*(
        (totals[key][1] - totals[key][0], totals[key][1]) for key in keys
    ), strict=True))
    kind, person, place = (_places([key[a:b] for key in keys]) for a, b in ((1, 4), (0, 1), (0, 3)))
    share = _sums(kind, failed)[kind] / _sums(kind, n)[kind]
    due, weight = n * share, n * share * (1.0 - share)
    own = weight - weight**2 / np.maximum(_sums(kind, weight)[kind], 1e-300)
    due_of, weight_of = _sums(person, due), _sums(person, weight)
    level_of = _sums(person, failed) / np.where(due_of > 0, due_of, 1.0)
    first = np.unique(place, return_index=True)[1]
    whose = person[first]
    seen, done = _sums(place, failed).astype(np.int64), _sums(place, n).astype(np.int64)
    expected = level_of[whose] * _sums(place, due)
    left = 1.0 - _sums(place, weight) / np.where(weight_of > 0, weight_of, 1.0)[whose]
    variance = level_of[whose] * _sums(place, own) * np.maximum(left, 0.0)
    named = np.array([keys[i][0] != UNKNOWN for i in first])
    told = named & (done >= SMALLEST) & (_sums(place, due) >= EXPECTED) & (expected > 0) & (left > 0) & (variance > 0)
    if not told.any():
        return
    at, x, e, v = np.flatnonzero(told), seen[told], expected[told], variance[told]
    phi = overdispersion(observed=x, expected=e, variance=v).phi if len(at) >= GROUPS_FOR_SPREAD else 1.0
    test = expectation_test(observed=x, expected=e, variance=v * max(phi, 1.0))
    ratio = standardised_ratio(observed=x, expected=e, level=level)
    for row, i in enumerate(at.tolist()):
        technician, procedure, step = keys[first[i]][:3]
        yield Finding(
            kind=KIND,
            scope={"technician": technician, "step": step, "procedure": procedure},
            what=(
                f"{counted_of(int(x[row]), 'first checks that failed')} among "
                f"{counted_of(int(done[i]), 'first checks')}, where the same work brings {e[row]:.1f} at this person's "
                "level over all steps"
            ),
            measure="observed / expected",
            size=float(ratio.estimate[row]),
            low=float(ratio.low[row]),
            high=float(ratio.high[row]),
            worse=bool(x[row] > e[row]),
            mirrored=True,
            jobs=int(done[i]),
            p_value=float(test.p_value[row]),
            caution=PEOPLE,
            check=LOOK["technician"],
            events=int(x[row]),
        )


def _places(keys: list[tuple[Any, ...]]) -> "np.ndarray[Any, np.dtype[np.int64]]":
    """Each key's place among the distinct ones."""
    place: dict[tuple[Any, ...], int] = {}
    return np.array([place.setdefault(key, len(place)) for key in keys], dtype=np.int64)


def _sums(place: "np.ndarray[Any, np.dtype[np.int64]]", values: Any) -> "np.ndarray[Any, np.dtype[np.float64]]":
    return np.asarray(np.bincount(place, weights=values), dtype=np.float64)
