"""Statistics of counts: what a share is, how sure we are of it, whether two differ by more than luck.

Pure functions: counts in (lists, NumPy arrays, pandas or polars series), a frozen result of NumPy arrays out. They
know NumPy and SciPy and nothing of logs, stores or charts, so each can be used on its own.
"""

from rqa.stats.difference import DifferenceInterval, difference_interval
from rqa.stats.fisher import ProportionTest, proportion_test
from rqa.stats.follow_up import KaplanMeier, kaplan_meier
from rqa.stats.hazard import SmoothedHazard, smoothed_hazard
from rqa.stats.incidence import CumulativeIncidence, cumulative_incidence
from rqa.stats.incidence_contrast import IncidenceContrast, incidence_contrast
from rqa.stats.log_rank import LogRank, log_rank
from rqa.stats.mean_cumulative import MeanCumulative, mean_cumulative_function
from rqa.stats.mean_cumulative_counts import mean_cumulative_from_counts
from rqa.stats.mean_cumulative_difference import MeanCumulativeDifference, mean_cumulative_difference
from rqa.stats.product import ProductInterval, product_interval
from rqa.stats.proportion import ProportionInterval, proportion_interval

__all__ = [
    "CumulativeIncidence",
    "DifferenceInterval",
    "IncidenceContrast",
    "KaplanMeier",
    "LogRank",
    "MeanCumulative",
    "MeanCumulativeDifference",
    "ProductInterval",
    "ProportionInterval",
    "ProportionTest",
    "SmoothedHazard",
    "cumulative_incidence",
    "difference_interval",
    "incidence_contrast",
    "kaplan_meier",
    "log_rank",
    "mean_cumulative_difference",
    "mean_cumulative_from_counts",
    "mean_cumulative_function",
    "product_interval",
    "proportion_interval",
    "proportion_test",
    "smoothed_hazard",
]
