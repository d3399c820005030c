"""Which failures look alike: come-backs grouped by their marks, with the number of groups chosen and tried again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.average_linkage import cut, linked

LARGEST = 4000
"""Patterns that can be linked: distances between all pairs are held, 128 MB for so many."""
STRUCTURE = 0.25
"""A mean silhouette up to this shows no groups worth the name (Kaufman and Rousseeuw 1990)."""


MOST_RESAMPLES = 100_000
"""Resamples are drawn at once."""


@dataclass(frozen=True, eq=False)
class FailureSignatures:
    """Each pattern's group, groups in order of their weight; how firm they are; and the marks that tell them."""

    seed: int
    resamples: int
    groups: int
    group: Counts
    tried: Counts
    silhouette: Numbers
    weight: Counts
    stability: Numbers
    share_with_mark: Numbers
    share_elsewhere: Numbers
    middle: Counts
    tree: Numbers


def failure_signatures(
    marks: ArrayLike, weights: ArrayLike, *, max_groups: int = 12, resamples: int = 50, seed: int = 0
) -> FailureSignatures:
    """Group failures that share their marks, such as failed steps, faults, failed tests, found subsystem.

    Parameters
    ----------
    marks
        Distinct patterns x marks: True or 1 where the pattern has the mark; no pattern without any.
    weights
        Cases of each pattern: whole numbers, one row.
    max_groups
        Groups to try at most, from 2.
    resamples
        Sets of cases drawn anew to see whether the groups come back.
    seed
        Seed of that draw.

    Returns
    -------
    FailureSignatures
        `group` of each pattern, from 0, -1 for a pattern without cases; for each group its `weight` in cases,
        `stability`, the place of its `middle` pattern, and the share of its cases, and of all others, with each mark.
        `silhouette` for each number of groups in `tried`; `tree`, a linkage matrix of the patterns with cases.

    Notes
    -----
    Two cases are as far apart as the share of their marks, of all that either has, that only one has (Jaccard).
    Clusters are merged by the mean distance of all their cases, so a pattern of a hundred cases counts a hundred times.
    The number of groups is the one with the largest mean silhouette over cases, each set against the cases of all other
    patterns (those of its own lie at no distance, and would make every pattern a group); where that is at most 0.25
    there are no groups worth the name, and all cases are one.

    Stability: cases are drawn anew with replacement, grouped into as many groups, and each group is set against its
    nearest new one, cases of both over cases of either; the mean over the draws. Below 0.6 a group is not to be
    trusted, from 0.75 on it is firm (Hennig). For one group it is 1.

    Groups are a way of reading, no causes. Marks that nearly all cases have should be left out.

    Raises
    ------
    ValueError
        Marks that are not 0 or 1, patterns without any, more than 4,000 patterns; weights that do not fit; settings
        that are not whole numbers in their range.

    References
    ----------
    1. P. J. Rousseeuw, Journal of Computational and Applied Mathematics 20, 1987, 53-65 (silhouette).
    2. L. Kaufman and P. J. Rousseeuw, Finding Groups in Data, 1990, chapter 2 (0.25).
    3. C. Hennig, Computational Statistics and Data Analysis 52, 2007, 258-271 (stability).

    Examples
    --------
    >>> r = failure_signatures([[1, 1, 0, 0], [1, 1, 1, 0], [0, 0, 1, 1], [0, 0, 0, 1]], [20, 4, 9, 7])
    >>> r.groups, r.group.tolist(), r.weight.tolist()
    (2, [0, 0, 1, 1], [24, 16])

    Two kinds of failure: one with the first two marks, one with the last.
    """
    arguments.unmasked("marks", marks)
    given = np.asarray(marks)
    x = arguments.shares("marks", given.astype(np.float64) if given.dtype == np.bool_ else given)
    w = arguments.counts("weights", weights)
    if x.ndim != 2 or w.shape != x.shape[:1]:
        raise ValueError(f"marks must be patterns x marks, weights one number per pattern: {x.shape}, {w.shape}")
    if ((x != 0) & (x != 1)).any():
        raise ValueError("marks must be True or False, 1 or 0")
    if (x.sum(axis=1) == 0).any():
        raise ValueError(f"marks must not be all 0: pattern {int(np.argmax(x.sum(axis=1) == 0))} has none")
    if len(w) > LARGEST:
        raise ValueError(f"marks must be at most {LARGEST} patterns: {len(w)}; leave out the rare ones")
    max_groups, resamples = arguments.whole("max_groups", max_groups, 2), arguments.whole("resamples", resamples, 0)
    if resamples > MOST_RESAMPLES:
        raise ValueError(f"resamples must be at most {MOST_RESAMPLES:,}: {resamples}")
    seed = arguments.whole("seed", seed, 0)
    used = np.flatnonzero(w > 0)
    cases, weight = x[used] > 0, w[used].astype(np.float64)
    apart = _distances(cases) if len(used) > 1 else np.zeros((len(used), len(used)))
    tree = linked(apart, weight) if len(used) > 1 else np.zeros((0, 4))
    tried = np.arange(2, min(max_groups, len(used)) + 1)
    cuts = [cut(tree, int(k)) for k in tried]
    widths = np.array([_silhouette(apart, weight, label) for label in cuts])
    best = int(np.argmax(widths)) if len(widths) else -1
    label = np.zeros(len(used), dtype=np.int64)
    if best >= 0 and widths[best] > STRUCTURE:
        label = _by_weight(cuts[best], weight)
    groups = int(label.max(initial=-1)) + 1
    member = (label[None, :] == np.arange(groups)[:, None]) * weight
    size = member.sum(axis=1)
    inside, overall = member @ cases, weight @ cases
    rest = weight.sum() - size
    elsewhere = (overall[None, :] - inside) / np.where(rest > 0, rest, np.nan)[:, None]
    full = np.full(len(w), -1, dtype=np.int64)
    full[used] = label
    spread = np.where(member > 0, member @ apart, np.inf)
    return FailureSignatures(
        seed=seed,
        resamples=resamples,
        groups=groups,
        group=arguments.frozen_counts(full),
        tried=arguments.frozen_counts(tried),
        silhouette=arguments.frozen(widths),
        weight=arguments.frozen_counts(size.astype(np.int64)),
        stability=arguments.frozen(_stability(apart, weight, label, groups, resamples, seed)),
        share_with_mark=arguments.frozen(inside / size[:, None]),
        share_elsewhere=arguments.frozen(elsewhere),
        middle=arguments.frozen_counts(used[np.argmin(spread, axis=1)] if groups else used),
        tree=arguments.frozen(tree),
    )


def _distances(cases: NDArray[np.bool_]) -> Numbers:
    """The distance between any two patterns: of the marks that either has, the share that not both have."""
    from scipy.spatial import distance  # a tenth of a second to import, so only when distances are asked for

    return np.asarray(distance.squareform(distance.pdist(cases, "jaccard")), dtype=np.float64)


def _silhouette(apart: Numbers, weight: Numbers, label: NDArray[np.int64]) -> float:
    """Mean over cases of (nearest other group - own group) / the larger; 0 where a pattern is alone in its group."""
    groups = int(label.max()) + 1
    if groups < 2:
        return 0.0
    member = (label[:, None] == np.arange(groups)[None, :]) * weight[:, None]
    size = member.sum(axis=0)
    sums = apart @ member
    here = np.arange(len(label)), label
    others = size[label] - weight
    own = sums[here] / np.where(others > 0, others, 1.0)
    mean = sums / size
    mean[here] = np.inf
    other = mean.min(axis=1)
    larger = np.maximum(own, other)
    width = np.where((others > 0) & (larger > 0), (other - own) / np.where(larger > 0, larger, 1.0), 0.0)
    return float((width * weight).sum() / weight.sum())


def _by_weight(label: NDArray[np.int64], weight: Numbers) -> NDArray[np.int64]:
    size = np.bincount(label, weights=weight)
    rank = np.empty(len(size), dtype=np.int64)
    rank[np.argsort(-size, kind="stable")] = np.arange(len(size))
    return rank[label]


def _stability(
    apart: Numbers, weight: Numbers, label: NDArray[np.int64], groups: int, resamples: int, seed: int
) -> Numbers:
    if groups < 2 or resamples == 0:
        return np.full(groups, 1.0 if groups == 1 else np.nan)
    rng = np.random.default_rng(seed)
    found: list[Numbers] = []
    for drawn in rng.multinomial(int(weight.sum()), weight / weight.sum(), size=resamples):
        there = np.flatnonzero(drawn)
        again = drawn[there].astype(np.float64)
        new = cut(linked(apart[np.ix_(there, there)], again), groups) if len(there) > 1 else np.zeros(1, dtype=np.int64)
        old = (label[there][None, :] == np.arange(groups)[:, None]) * again
        both = old @ (new[:, None] == np.arange(int(new.max()) + 1)[None, :])
        either = old.sum(axis=1)[:, None] + np.bincount(new, weights=again)[None, :] - both
        alike = (both / either).max(axis=1)
        found.append(np.where(old.sum(axis=1) > 0, alike, 0.0))
    return np.asarray(np.mean(found, axis=0), dtype=np.float64)
