"""Is the odds ratio the same in all strata: the test of Breslow and Day, and Tarone's correction of it."""

import numpy as np
from scipy import special

from rqa.arguments import Numbers
from rqa.stats.far_tails import never_zero


def breslow_day(a: Numbers, b: Numbers, c: Numbers, d: Numbers) -> dict[str, Numbers]:
    """Both statistics and their p-values, over strata on the last axis; NaN with fewer than two telling strata.

    The exposed events e that the Mantel-Haenszel odds ratio w would give in a stratum solve e (n0 - m + e) = w (n1 - e)
    (m - e), where n1 and n0 are exposed and unexposed and m the events. The statistic is the sum of (a - e)^2 / v with
    1/v the sum of the four fitted counts' inverses; Tarone takes (sum (a - e))^2 / sum v off.
    """
    n = np.maximum(a + b + c + d, 1.0)
    n1, n0, m = a + b, c + d, a + c
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = ((a * d / n).sum(axis=-1) / (b * c / n).sum(axis=-1))[..., np.newaxis]
        known = np.isfinite(odds) & (odds > 0)
        w = np.where(known, odds, 1.0)
        # (1 - w) e^2 + (n0 - m + w (n1 + m)) e - w n1 m = 0, whose wanted root is written so that w = 1 is no trouble.
        half = n0 - m + w * (n1 + m)
        fitted = 2.0 * w * n1 * m / (half + np.sqrt(np.maximum(half**2 + 4.0 * (1.0 - w) * w * n1 * m, 0.0)))
        telling = (n1 > 0) & (n0 > 0) & (m > 0) & (m < n1 + n0) & known
        inverse = 1.0 / fitted + 1.0 / (n1 - fitted) + 1.0 / (m - fitted) + 1.0 / (n0 - m + fitted)
        v = np.where(telling, 1.0 / inverse, 0.0)
        gap = np.where(telling, a - fitted, 0.0)
        statistic = np.where(telling, gap**2 * inverse, 0.0).sum(axis=-1)
        off = gap.sum(axis=-1) ** 2 / v.sum(axis=-1)
    degrees = telling.sum(axis=-1) - 1
    enough = degrees > 0
    # Both are sums of squares; rounding must not take the second below 0.
    plain, corrected = (np.where(enough, s, np.nan) for s in (statistic, np.maximum(statistic - off, 0.0)))
    df = np.maximum(degrees, 1)
    return {
        "breslow_day": plain,
        "breslow_day_p": never_zero(special.chdtrc(df, plain)),
        "tarone": corrected,
        "tarone_p": never_zero(special.chdtrc(df, corrected)),
    }
