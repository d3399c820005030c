"""Which chart fits a measure and its data, why, and whether there is enough of it for limits at all."""

from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.spc import which_for_counts, which_for_gaps, which_for_measurements
from rqa.spc.proportion_chart import periods
from rqa.spc.rate_chart import exposures
from rqa.spc.recommendation import Kind, Recommendation
from rqa.spc.subgroup_chart import Subgroups, measured

TAKES = {
    "share": {"count", "size"},
    "rate": {"count"},
    "measurement": {"values"},
    "jobs-between": {"gaps"},
    "time-between": {"gaps"},
}


def which_chart(
    *,
    kind: Kind,
    count: ArrayLike | None = None,
    size: ArrayLike | None = None,
    values: Subgroups | None = None,
    gaps: ArrayLike | None = None,
) -> Recommendation:
    """Say which control chart fits a measure and its data, why, and whether there are points enough for limits.

    Parameters
    ----------
    kind
        "share": jobs with an event (`count`) among jobs (`size`), a period each. "rate": events that a job can have
        several of (`count`), on what could have had them (`size`; leave it out when all periods are alike).
        "measurement": `values`, one a point, or rows of several. "jobs-between", "time-between": `gaps` between rare
        events, in jobs or in time.
    count, size, values, gaps
        The data, as the charts take them, in time order.

    Returns
    -------
    Recommendation
        `chart` (a function of `rqa.spc` by name, None when refused), `options`, `reasons`, `cautions`, `points`,
        `more_points`, the `average` (events a period, value, or gap) and `spread`; `make()` gives the chart itself.

    Notes
    -----
    Landmarks: limits are refused from fewer than 8 periods of counts, or 12 points where the spread comes from the
    points themselves; until then show the points and no limits. Periods without a job, and NaN, are no points. Fewer
    than one event a period on average asks for the gaps between them; a rate without any event, too.

    Counts of five events a period or more, in twelve periods or more, get Laney's chart where their steps from point
    to point are wider than chance at all: a test sees months that differ by a sixth in half of all charts only. The
    limits are never narrower than chance, unless the points are clearly too even.

    Tested, at 1 % each: do other counts spread more (Laney's chart) or all less than chance, by their steps from point
    to point, so that a slow drift is not taken for spread; do they spread more as a whole though not in their steps (a
    drift: look for it); are neighbours correlated (limits then promise too much); for subgroups, do the means differ
    more than the spread within explains (then the means are charted as individuals); are measurements skewed; are
    gaps more unequal, or more even, than at a constant rate (Gini statistic).

    The tests see little in few points, and one in a hundred steady series fails each. They advise; what the measure
    is, and how its periods come about, comes first.

    Raises
    ------
    ValueError
        Data that do not belong to the kind, or are left out; otherwise as for the charts.

    References
    ----------
    1. D. B. Laney, Quality Engineering 14, 2002, 531-537.
    2. J. von Neumann, Annals of Mathematical Statistics 12, 1941, 367-395 (squared steps).
    3. M. H. Gail and J. L. Gastwirth, Journal of the Royal Statistical Society B 40, 1978, 350-357 (Gini statistic).

    Examples
    --------
    >>> told = which_chart(kind="share", count=[410, 620, 480, 590, 440, 605] * 2, size=10_000)
    >>> told.chart, round(told.spread.ratio_next**0.5, 1)
    ('laney_p_chart', 5.1)

    With 10,000 jobs a month chance alone would hardly move the share, but it steps five times as far as that.
    """
    arguments.one_of("kind", kind, get_args(Kind))
    data = {"count": count, "size": size, "values": values, "gaps": gaps}
    given = {name for name, held in data.items() if held is not None}
    if given - ({"size"} if kind == "rate" else set()) != TAKES[kind]:
        wanted, found = " and ".join(sorted(TAKES[kind])), " and ".join(sorted(given)) or "nothing"
        raise ValueError(f"kind {kind!r} takes {wanted}, not {found}")
    if count is not None:
        if kind == "share" and size is not None:
            return which_for_counts.of_shares(*periods(count, size))
        return which_for_counts.of_rates(*exposures(count, 1.0 if size is None else size))
    if values is not None:
        return _of_measurements(values)
    return _of_gaps(kind, gaps if gaps is not None else [])


def _of_measurements(values: Subgroups) -> Recommendation:
    rows = list(values) if isinstance(values, Iterable) and not hasattr(values, "columns") else None
    if rows is not None and all(np.ndim(row) == 0 for row in rows):
        return which_for_measurements.of_values(arguments.measurements("values", np.asarray(values)))
    taken = measured(values)
    if all(len(row) <= 1 for row in taken):
        single = np.array([row[0] if len(row) else np.nan for row in taken], dtype=np.float64)
        return which_for_measurements.of_values(single)
    return which_for_measurements.of_groups(taken)


def _of_gaps(kind: Kind, gaps: ArrayLike) -> Recommendation:
    by_job = kind == "jobs-between"
    x = arguments.counts("gaps", gaps).astype(np.float64) if by_job else arguments.amounts("gaps", gaps)
    if x.ndim != 1:
        raise ValueError(f"gaps must be one number an event, in one dimension: shape {x.shape}")
    return which_for_gaps.of_job_gaps(x) if by_job else which_for_gaps.of_time_gaps(x)
