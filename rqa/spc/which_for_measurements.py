"""Which chart fits measurements: one a point, or small groups whose spread within may tell what is usual or not."""

from collections.abc import Sequence

import numpy as np
from scipy import special

from rqa.arguments import Numbers
from rqa.spc.dispersion import dispersion, standardised
from rqa.spc.recommendation import LEAST_MEASURED, UNLIKELY, Findings, Recommendation
from rqa.spc.single_value_chart import individuals_chart
from rqa.spc.subgroup_chart import xbar_r_chart, xbar_s_chart
from rqa.spc.subgroup_constants import constants

LARGEST_FOR_RANGE = 5
"""Subgroup size up to which ranges lose less than 5 % of what deviations would tell."""


def of_values(x: Numbers) -> Recommendation:
    """The chart for one measurement a point."""
    have = np.isfinite(x)
    m = int(have.sum())
    average = float(x[have].mean()) if m else float("nan")
    sigma = float(x[have].std(ddof=1)) if m > 1 else float("nan")
    spread = dispersion(standardised(x, np.full(len(x), average), np.full(len(x), sigma)))
    said = Findings(kind="measurement", points=m, average=average, spread=spread)
    if m < LEAST_MEASURED:
        return said.too_few(LEAST_MEASURED)
    said.reasons.append("There is one measurement a point, so its spread comes from the steps between neighbours.")
    skew = float((((x[have] - average) / sigma) ** 3).mean()) if sigma > 0 else 0.0
    # The skewness of m normal values has a standard deviation of about sqrt(6 / m).
    if 2.0 * special.ndtr(-abs(skew) / np.sqrt(6.0 / m)) < UNLIKELY:
        remedy = ": chart their logarithm" if skew > 0 and (x[have] > 0).all() else ""
        side = "high" if skew > 0 else "low"
        said.cautions.append(f"The values have a long tail on the {side} side, where more of them fall out{remedy}.")
    if len(np.unique(x[have])) < 5:
        said.cautions.append("There are fewer than five different values: they are rounded too far for these limits.")
    said.look_at_neighbours("value")
    return said.fits(individuals_chart, x)


def of_groups(rows: Sequence[Numbers]) -> Recommendation:
    """The chart for several measurements a point."""
    sizes = np.array([len(row) for row in rows], dtype=np.int64)
    taken = sorted(set(sizes[sizes > 0].tolist()))
    m = int((sizes >= 2).sum())
    mean = np.array([row.mean() if len(row) else np.nan for row in rows], dtype=np.float64)
    average = float(np.concatenate(rows).mean())
    degrees = int(np.maximum(sizes - 1, 0).sum())
    variance = sum(float(((row - row.mean()) ** 2).sum()) for row in rows if len(row)) / max(degrees, 1)
    sigma = np.sqrt(variance / np.where(sizes > 0, sizes, np.nan))
    spread = dispersion(standardised(mean, np.full(len(rows), average), sigma))
    said = Findings(kind="measurement", points=m, average=average, spread=spread)
    if m < LEAST_MEASURED:
        return said.too_few(LEAST_MEASURED)
    said.look_at_neighbours("mean")
    # The spread within is estimated too, so the ratio of the two is referred to an F distribution.
    if special.fdtrc(spread.degrees_next, degrees, spread.ratio_next) < UNLIKELY:
        said.reasons.append(
            f"The means step {spread.ratio_next**0.5:.1f} times as far as the spread within would have them, so that "
            "spread does not say what is usual between them: the means themselves are charted, one a point."
        )
        if len(taken) > 1:
            said.cautions.append(
                "Means of few and of many measurements are not equally sure; this chart takes them so."
            )
        return said.fits(individuals_chart, mean)
    said.reasons.append("The means step from group to group no further than the spread within may have them.")
    if len(taken) == 1 and taken[0] <= LARGEST_FOR_RANGE:
        c = constants(taken[0])
        kept = (c.c5 / c.c4) ** 2 / (c.d3 / c.d2) ** 2
        said.reasons.append(f"The range of {c.n} is easily read and keeps {100 * kept:.0f} % of what s would tell.")
        filled = [row if len(row) else np.full(c.n, np.nan) for row in rows]
        return said.fits(xbar_r_chart, np.array(filled, dtype=np.float64))
    said.reasons.append(
        "The groups are of different sizes, which ranges do not compare: standard deviations are charted."
        if len(taken) > 1
        else f"The range of {taken[0]} wastes information: standard deviations are charted."
    )
    return said.fits(xbar_s_chart, list(rows))
