"""Limits of a share that grows from day to day, from its standard error. The last axis runs over the days."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers

WIDEST = 700.0
"""Beyond this the exponential of a double overflows; the limits are 0 and 1 long before."""


def log_log_limits(share: Numbers, se: Numbers, at_risk: Counts, level: float) -> tuple[Numbers, Numbers]:
    """Limits of a share by the log-log transformation of what is left of 1, with finite ends at 0 and 1.

    With c = -log(1 - share), the limits are 1 - exp(-c exp(-/+ z se / ((1 - share) c))). That has no value at 0 and 1:

    - a share of 0 has low 0 and high z^2 / (n + z^2), Wilson's limit for none of the n that are at risk on the day;
    - a share of 1, reached as all n at risk return, has high 1 and 1 - low = (1 - low of the day before) z^2 / (n +
      z^2): what may be left after that day times Wilson's limit for the share of n of n that stays out.

    A share that is not known (NaN) has none.
    """
    z = float(-special.ndtri((1.0 - level) / 2.0))
    wilson = z * z / (at_risk + z * z)
    inside = (share > 0) & (share < 1)
    kept = np.where(inside, share, 0.5)
    c = -np.log1p(-kept)
    half = np.minimum(z * np.where(inside, se, 0.0) / ((1.0 - kept) * c), WIDEST)
    low = np.where(inside, -np.expm1(-c * np.exp(-half)), 0.0)
    high = np.where(inside, -np.expm1(-c * np.exp(half)), wilson)

    gone = share == 1
    if gone.any():
        before = np.zeros_like(low)
        before[..., 1:] = low[..., :-1]
        as_all_return = np.where(gone & (at_risk > 0), 1.0 - (1.0 - before) * wilson, 0.0)
        low = np.where(gone, np.maximum.accumulate(as_all_return, axis=-1), low)
        high = np.where(gone, 1.0, high)
    unknown = np.isnan(share)
    return np.where(unknown, np.nan, low), np.where(unknown, np.nan, high)
