"""A bench, tool or station against the same people's work elsewhere, so that it is not blamed for its people."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
Numbers = NDArray[np.float64]

SEPARABLE = 0.1
"""Share of what a place's work tells that must be left with its people allowed for: limits are 3 times as wide then."""
ALLOWED_FOR, NOT_TOLD_APART, NOT_NAMED = "allowed for", "not told apart", "not named"
NAMED = 0.5
"""Share of a place's work that must name who did it, before it is said that its people hardly work elsewhere."""
ONE_PLACE = 1e-9
"""A person with all but this of the expected events at one place works there alone."""


@dataclass(frozen=True, eq=False)
class WithinPeople:
    """Of each place: work that can be compared, events in it, work that cannot, and what the same people's work brings.

    `variance` is that of observed - expected, as the people's own levels come from the same work; `by_chance` what it
    would be with these levels known.
    """

    exposures: Counts
    observed: Counts
    no_comparator: Counts
    expected: Numbers
    variance: Numbers
    by_chance: Numbers
    p_value: Numbers
    z: Numbers

    @property
    def told(self) -> NDArray[np.bool_]:
        """The places that can be told apart from their people."""
        return np.asarray(self.variance >= SEPARABLE * self.by_chance) & (self.variance > 0)


def within_people(*, events: Counts, trials: Counts, share: Numbers) -> WithinPeople:
    """Compare places by the work of the same people: a person's events shared out over the places as the mix brings.

    `events` and `trials` are counts by place, person and kind of work, `share` the share of events of each kind. With
    E the events that the mix brings at a place to a person, and f = events / E the person's own level over all places,
    a place is due the sum of f E. Its observed less these have the variance of the efficient score,
    sum of f (w - w^2 / w over all places) with w the binomial variance of the mix: the people's levels take the rest.
    A kind of work done at one place alone is left out: its share is the place's own.
    """
    from rqa.stats import expectation_test

    shared = (trials.sum(axis=1) > 0).sum(axis=0) > 1
    lone = trials[:, :, ~shared].sum(axis=(1, 2))
    events, trials, share = events[:, :, shared], trials[:, :, shared], share[shared]
    due, weight = trials @ share, trials @ (share * (1.0 - share))
    done, seen = trials.sum(axis=2), events.sum(axis=2)
    due_of, weight_of, seen_of = due.sum(axis=0), weight.sum(axis=0), seen.sum(axis=0)
    level = np.where(due_of > 0, seen_of / np.where(due_of > 0, due_of, 1.0), 0.0)
    alone = (due >= (1.0 - ONE_PLACE) * due_of) & (done > 0)
    there = ~alone & (done > 0)
    expected = np.where(there, level * due, 0.0).sum(axis=1)
    by_chance = (level * weight).sum(axis=1)
    taken = weight**2 / np.where(weight_of > 0, weight_of, 1.0)
    variance = np.where(there, level * np.maximum(weight - taken, 0.0), 0.0).sum(axis=1)
    observed = np.where(there, seen, 0).sum(axis=1)
    test = expectation_test(observed=observed, expected=expected, variance=np.where(expected > 0, variance, 0.0))
    return WithinPeople(
        exposures=np.where(there, done, 0).sum(axis=1), observed=observed,
        no_comparator=np.where(alone, done, 0).sum(axis=1) + lone, expected=expected, variance=variance,
        by_chance=by_chance, p_value=test.p_value, z=test.z,
    )


def people_told(within: WithinPeople, trials: Counts, unnamed: Counts, share: Numbers) -> NDArray[np.object_]:
    """Whether the people of each place are allowed for; if not, whether they work there alone or are seldom named.

    `trials` is the work that names a person, by place, person and kind, `unnamed` that which does not, by place and
    kind: what it would tell is lost, too.
    """
    lost = unnamed @ (share * (1.0 - share))
    told = within.told & (within.variance >= SEPARABLE * (within.by_chance + lost))
    named, of_nobody = trials.sum(axis=(1, 2)), unnamed.sum(axis=1)
    seldom = within.told | (named < NAMED * (named + of_nobody))
    return np.where(told, ALLOWED_FOR, np.where(seldom, NOT_NAMED, NOT_TOLD_APART)).astype(object)


def by_place_and_person(
    rows: Sequence[tuple[Any, ...]], places: Sequence[str], kinds: Sequence[tuple[Any, ...]]
) -> tuple[Counts, Counts, tuple[str, ...]]:
    """Events and trials by place, person and kind, and the people, of rows (place, person, kind …, events, trials)."""
    place, kind = ({name: i for i, name in enumerate(each)} for each in (places, kinds))
    kept = [row for row in rows if row[0] in place and tuple(row[2:-2]) in kind]
    people = tuple(dict.fromkeys(row[1] for row in kept))
    person = {name: i for i, name in enumerate(people)}
    made = np.zeros((2, len(places), len(people), len(kinds)), dtype=np.int64)
    at = [(place[row[0]], person[row[1]], kind[tuple(row[2:-2])]) for row in kept]
    if at:
        np.add.at(made, (slice(None), *np.array(at).T), np.array([row[-2:] for row in kept]).T)
    return made[0], made[1], people
