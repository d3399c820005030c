"""Are values normal: the test that looks at the tails."""

import numpy as np
from scipy import special

from rqa.arguments import Numbers


def anderson_darling(values: Numbers) -> float:
    """P-value of values being normal with some mean and deviation; NaN with fewer than 8 values or none that differ.

    A^2 = -n - mean of (2 i - 1)(ln F_i + ln(1 - F_n+1-i)) for sorted values, F normal with the sample's mean and
    deviation; A^2 (1 + 0.75 / n + 2.25 / n^2) is turned into a p-value by the fitted curves of D'Agostino and Stephens
    (1986, table 4.9). Values rounded to few levels fail it for that alone.
    """
    n = len(values)
    deviation = float(values.std(ddof=1)) if n > 1 else 0.0
    if n < 8 or not deviation > 0:
        return float("nan")
    z = np.sort((values - values.mean()) / deviation)
    odd = 2.0 * np.arange(1, n + 1) - 1.0
    square = -n - float((odd * (special.log_ndtr(z) + special.log_ndtr(-z[::-1]))).mean())
    return p_value(square * (1.0 + 0.75 / n + 2.25 / n**2))


def p_value(a: float) -> float:
    """The p-value of the statistic corrected for the number of values, by fitted curves."""
    if a < 0.2:
        return float(-np.expm1(-13.436 + 101.14 * a - 223.73 * a**2))
    if a < 0.34:
        return float(-np.expm1(-8.318 + 42.796 * a - 59.938 * a**2))
    if a < 0.6:
        return float(np.exp(0.9177 - 4.279 * a - 1.38 * a**2))
    # The fitted curve turns up again beyond a = 153.
    return float(np.exp(1.2937 - 5.709 * a + 0.0186 * a**2)) if a < 100 else 0.0
