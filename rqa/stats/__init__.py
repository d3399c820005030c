"""Statistics of counts: what a share is, how sure we are of it, whether two differ by more than luck.

Pure functions: counts in (lists, NumPy arrays, pandas or polars series), a frozen result of NumPy arrays out. They
know NumPy and SciPy and nothing of logs, stores or charts, so each can be used on its own.
"""

from rqa.stats.difference import DifferenceInterval, difference_interval
from rqa.stats.fisher import ProportionTest, proportion_test
from rqa.stats.product import ProductInterval, product_interval
from rqa.stats.proportion import ProportionInterval, proportion_interval

__all__ = [
    "DifferenceInterval",
    "ProductInterval",
    "ProportionInterval",
    "ProportionTest",
    "difference_interval",
    "product_interval",
    "proportion_interval",
    "proportion_test",
]
