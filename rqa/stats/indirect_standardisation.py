"""What the same mix of work brings elsewhere: expected events by stratified indirect standardisation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class MixExpectation:
    """Each group's events, and those its mix of work would bring elsewhere; comparable work alone."""

    events: Counts
    trials: Counts
    leave_one_out: bool
    observed: Counts
    comparable: Counts
    no_comparator: Counts
    expected: Numbers
    variance: Numbers


def expected_from_mix(*, events: ArrayLike, trials: ArrayLike, leave_one_out: bool = False) -> MixExpectation:
    """Say how many events (failures, come-backs) each group's own mix of work would bring if it were like the others.

    Parameters
    ----------
    events
        Counts by group and stratum, such as technician x (model, procedure, billing): whole numbers from 0 to
        `trials`, two axes.
    trials
        Work by group and stratum, of the same shape.
    leave_one_out
        False: each stratum's share is that of all groups, the group itself among them. True: that of the other groups.

    Returns
    -------
    MixExpectation
        One value for each group. `observed` events among `comparable` trials; `no_comparator`, the trials in strata
        where nobody else worked, which have nothing to be compared with and are in neither; `expected` = sum over
        strata of trials x the stratum's share; `variance`, how far chance alone lets observed - expected vary.

    Notes
    -----
    Landmarks: a group whose strata are all its own has observed, expected and variance 0 and `comparable` 0, which is
    no comparison; without leave_one_out, observed and expected add up to the same over all groups.

    With x of n trials in the group and X of N in all groups of a stratum, expected is n X / N. Given the totals, the
    group's events are hypergeometric with variance n (N - n) X (N - X) / (N^2 (N - 1)). With leave_one_out expected is
    n (X - x) / (N - n), and the variance (N / (N - n))^2 times that.

    Without leave_one_out a group that does most of the work is compared mostly with itself, so its ratio lies nearer 1
    than its difference from the others; with it, the ratio shows that difference in full, but expected then rests on
    the little work of the others, and an interval that takes it as known is too narrow. The test of
    `stratified_exact_test` is the same either way.

    Strata that are too fine leave much work alone or with few others to go by; then a model of the shares is the
    better source of expected numbers.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; events above trials; counts without exactly two axes.

    References
    ----------
    1. N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research II, IARC, 1987, chapter 2.
    2. N. Mantel and W. Haenszel, Journal of the National Cancer Institute 22, 1959, 719-748 (variance).

    Examples
    --------
    >>> r = expected_from_mix(events=[[2, 30], [18, 10]], trials=[[20, 100], [180, 20]])
    >>> r.observed.tolist(), r.expected.round(1).tolist()
    ([32, 28], [35.3, 24.7])

    The first technician failed 27 % and the second 14 %, but the first had most of the hard work: on that mix fewer
    failed than it brings elsewhere.
    """
    x, n = arguments.part_and_whole("events", events, "trials", trials)
    if x.ndim != 2:
        raise ValueError(f"events must have two axes, groups and strata: shape {x.shape}")
    others = n.sum(axis=0) - n
    alone = (n > 0) & (others == 0)
    inside = np.where(alone, 0, n).astype(np.float64)
    own = np.where(alone, 0, x)
    all_trials = np.maximum(n.sum(axis=0), 1).astype(np.float64)
    all_events = x.sum(axis=0).astype(np.float64)
    spread = (
        inside * others * (all_events * (all_trials - all_events)) / all_trials**2 / np.maximum(all_trials - 1, 1.0)
    )
    if leave_one_out:
        known = np.maximum(others, 1).astype(np.float64)
        expected = inside * (all_events - x) / known
        spread = spread * (all_trials / known) ** 2
    else:
        expected = inside * all_events / all_trials
    return MixExpectation(
        events=arguments.frozen_counts(x),
        trials=arguments.frozen_counts(n),
        leave_one_out=leave_one_out,
        observed=arguments.frozen_counts(own.sum(axis=1)),
        comparable=arguments.frozen_counts(inside.sum(axis=1).astype(np.int64)),
        no_comparator=arguments.frozen_counts(np.where(alone, n, 0).sum(axis=1)),
        expected=arguments.frozen(expected.sum(axis=1)),
        variance=arguments.frozen(spread.sum(axis=1)),
    )
