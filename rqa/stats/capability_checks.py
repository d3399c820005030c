"""When no index of capability should be given: too few values, no steady process, no normal shape."""

from collections.abc import Sequence

import numpy as np
from scipy import special

from rqa.arguments import Numbers
from rqa.stats.capability_index import Spread
from rqa.stats.randomness import shift, wandering
from rqa.words import counted

LEAST_VALUES = 25
"""Values below which no index is given (common practice, no source): neither order nor shape can be judged by fewer."""

LEAST_FOR_PERCENTILES = 740
"""Values from which the 0.135 % point lies within the sample: 0.00135 (n + 1) is at least 1."""

PLAINLY = 0.005
"""A p-value below which a process counts as plainly not normal, or a test of its order as failed."""

TOO_FAR = 0.01
"""Chance that any value of a steady normal process lies beyond the limits that call a single value out."""

TESTS_OF_ORDER = 3
"""Wandering, a shift in level, a shift in spread."""


def order(points: Numbers) -> float:
    """The smallest of three p-values that speak of the order of the points, times three."""
    if len(points) < 3:
        return float("nan")
    found = (wandering(points), shift(points), shift(np.abs(points - np.median(points))))
    return min(1.0, TESTS_OF_ORDER * min(p for p in (*found, 1.0) if not np.isnan(p)))


def enough(n: int, method: str) -> tuple[str, ...]:
    """A sentence if there are too few values, with how many more are needed."""
    least = LEAST_FOR_PERCENTILES if method == "percentile" else LEAST_VALUES
    if n >= least:
        return ()
    return (
        f"An index by {method} method needs at least {counted(least, 'value')}; there are {n}, so {least - n} more are "
        "needed.",
    )


def spread_of(overall: Spread) -> tuple[str, ...]:
    """A sentence if the values do not differ."""
    return () if overall.sigma > 0 else ("All values are equal: there is no spread to compare with the limits.",)


def stable(x: Numbers, rows: Sequence[Numbers], within: Spread, p_order: float, p_normal: float) -> tuple[str, ...]:
    """A sentence if the values are not of one steady process: by their order, between subgroups, or a single one."""
    if p_order < TESTS_OF_ORDER * PLAINLY:
        return (
            "Not stable: the order of the values is not that of chance (they wander or shifted), so a single figure "
            "would speak of no one period. Chart them, and take the stage that holds now.",
        )
    groups = [row for row in rows if len(row)]
    free = len(x) - len(groups)
    if free and len(groups) > 1 and within.sigma > 0:
        between = sum(len(row) * (float(row.mean()) - float(x.mean())) ** 2 for row in groups) / (len(groups) - 1)
        if special.fdtrc(len(groups) - 1, free, between / within.sigma**2) < PLAINLY:
            return ("Not stable: the means of the subgroups differ by more than the spread within them explains.",)
    # Far values of a shape that is not normal are its tail, so they speak of stability only beside a normal shape.
    far = np.abs(x - x.mean())
    if p_normal >= PLAINLY and far.max() > -special.ndtri(TOO_FAR / 2.0 / len(x)) * within.sigma:
        place = int(np.argmax(far))
        return (f"Not stable: the value {x[place]:g} is too far from the others to be of the same process.",)
    return ()


def normal(p_normal: float, method: str) -> tuple[str, ...]:
    """A sentence if the method needs normal values and these are plainly not."""
    if method == "normal" and p_normal < PLAINLY:
        return (
            "Plainly not normal, so deviations do not tell how much is beyond a limit. The percentile method does not "
            f"need that: method='percentile', from {LEAST_FOR_PERCENTILES} values.",
        )
    return ()
