"""What a mix of work brings where its kinds are too thin to stand for themselves: a binomial model of the shares."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
Numbers = NDArray[np.float64]

REFITS = 8
"""How often kinds of work that the model does not fit get a share of their own before it is left at that."""
AT_ONCE = 0.1
"""Share of the missed kinds, the worst, that get it at once: one bad miss draws its neighbours off the mark."""
LUCK = 0.05
ENOUGH = 20
"""Trials from which on a kind of work can have a share of its own."""
TAKEN_UP = 1e-6
"""A stratum of which the model leaves no more than this to chance is one it fits by itself."""
MOST_CELLS = 50_000_000
"""Numbers in the model's matrix: kinds of work times levels."""


@dataclass(frozen=True, eq=False)
class ModelExpectation:
    """Expected events of each group, how far chance lets observed - expected vary, and how many kinds stand apart.

    `no_comparator`: the groups whose expected events are made of their own alone, as each kind they do has something
    (its step, its model) that nobody else does.
    """

    expected: Numbers
    variance: Numbers
    apart: int
    no_comparator: NDArray[np.bool_]
    share: Numbers
    """That the model gives each kind."""


def fits(kinds: Sequence[Sequence[str]]) -> bool:
    """Whether the model's matrix is of a size that can be worked with."""
    return len(kinds) * sum(len(set(factor)) for factor in zip(*kinds, strict=True)) <= MOST_CELLS


def expected_by_model(*, events: Counts, trials: Counts, kinds: Sequence[Sequence[str]]) -> ModelExpectation:
    """Say how many events each group's work would bring, from a binomial model of the kinds of work.

    `events` and `trials` are counts by group and stratum, `kinds` names each stratum: its model, procedure, billing and
    so on, each a factor of the model with a logistic link and no interactions. Strata of 20 trials or more that the
    model misses by more than chance (Benjamini and Hochberg, 5 %) get a share of their own, and the model is fitted
    anew.

    `variance` is that of the efficient score: what chance makes of a group's events, less what the model, fitted to
    them too, takes up. Strata whose factor has no event at all, or nothing else, are certain and stay out of the fit.
    """
    x, n = events.sum(axis=0).astype(np.float64), trials.sum(axis=0).astype(np.float64)
    design = _levels(kinds)
    share, certain = _certain(x, n, design)
    open_ = ~certain & (n > 0)
    own = np.zeros(x.size, dtype=bool)
    used: Numbers = design[:, :0]
    known: Numbers = np.zeros((0, 0))
    for _ in range(REFITS + 1):
        alone = np.flatnonzero(own & open_)
        used = _independent(np.hstack([design, np.eye(x.size)[:, alone]]), open_)
        share[open_] = _fitted(x[open_], n[open_], used[open_])
        weight = np.where(open_, n * share * (1.0 - share), 0.0)
        known = np.asarray(np.linalg.pinv((used * weight[:, np.newaxis]).T @ used, hermitian=True))
        left = weight - weight**2 * np.einsum("sk,kl,sl->s", used, known, used, optimize=True)
        missed = _worst_missed(x, n * share, left, open_ & ~own & (n >= ENOUGH) & (left > TAKEN_UP * weight))
        if not missed.size:
            break
        own[missed] = True
    each = trials * np.where(open_, share * (1.0 - share), 0.0)
    along = each @ used
    taken = np.einsum("gk,gk->g", along @ known, along)
    by_luck = each.sum(axis=1)
    variance = np.maximum(by_luck - taken, 0.0)
    nobody_else = (by_luck > 0) & (variance <= TAKEN_UP * by_luck)
    return ModelExpectation(trials @ share, variance, int((own & open_).sum()), nobody_else, share)


def _levels(kinds: Sequence[Sequence[str]]) -> Numbers:
    """A column of ones, and one for every level of every factor but its first."""
    columns = [np.ones(len(kinds))]
    for factor in zip(*kinds, strict=True):
        names = np.array(factor, dtype=object)
        columns += [(names == level).astype(np.float64) for level in sorted(set(factor))[1:]]
    return np.stack(columns, axis=1)


def _certain(x: Numbers, n: Numbers, design: Numbers) -> tuple[Numbers, NDArray[np.bool_]]:
    """Strata of a level at which nothing or everything failed, until none is left; their shares are 0 or 1."""
    share, certain = np.zeros(x.size), np.zeros(x.size, dtype=bool)
    members = np.hstack([design, 1.0 - design[:, 1:]])[:, 1:] if design.shape[1] > 1 else design
    members = np.hstack([members, np.ones((x.size, 1))]) > 0
    for _ in range(x.size):
        left = members & (~certain & (n > 0))[:, np.newaxis]
        failed, all_of = x @ left, n @ left
        never = (left & ((failed == 0) & (all_of > 0))).any(axis=1)
        always = (left & ((failed == all_of) & (all_of > 0))).any(axis=1)
        if not (never | always).any():
            break
        share[always & ~certain] = 1.0
        certain |= never | always
    return share, certain


def _independent(design: Numbers, rows: NDArray[np.bool_]) -> Numbers:
    """The columns that say something of these rows."""
    some = design[rows]
    return design[:, (some.any(axis=0))] if some.size else design[:, :1]


def _fitted(x: Numbers, n: Numbers, design: Numbers) -> Numbers:
    if not x.size:
        return x
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    family = Binomial()
    model: Any = GLM(np.stack([x, n - x], axis=1), design, family=family)
    with warnings.catch_warnings():
        # Where some level tells failures and passes apart perfectly, the fit runs to a share of 0 or 1, as it should.
        warnings.simplefilter("ignore")
        found = model.fit(maxiter=100)
    return np.clip(np.asarray(found.mu, dtype=np.float64), 0.0, 1.0)


def _worst_missed(x: Numbers, expected: Numbers, left: Numbers, looked_at: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The strata that lie furthest from the model, among those that it misses by more than chance.

    `left` is what chance makes of a stratum's events, less what the model takes up, fitted to them too: a large stratum
    draws the model to itself and makes its neighbours look wrong, and this undoes it.
    """
    from rqa.stats import benjamini_hochberg, expectation_test

    places = np.flatnonzero(looked_at)
    test = expectation_test(observed=x[places].astype(np.int64), expected=expected[places], variance=left[places])
    missed = np.flatnonzero(benjamini_hochberg(p_values=test.p_value, allowed=LUCK).found)
    far = np.abs(x - expected)[places[missed]] / np.sqrt(left[places[missed]])
    first = missed[np.argsort(-far, kind="stable")][: int(np.ceil(AT_ONCE * missed.size))]
    return places[first]
