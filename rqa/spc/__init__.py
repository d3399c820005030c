"""Control charts: is a figure steady from period to period, or did something change.

Pure functions: counts in, a frozen `Chart` of NumPy arrays out, with the signals of the rules it was put to. They
know NumPy and SciPy and nothing of logs, stores or drawing.
"""

from rqa.spc.chart import Chart, SetAside, Signal
from rqa.spc.choice import which_chart
from rqa.spc.job_cusum import (
    BernoulliCusum,
    RiskAdjustedCusum,
    bernoulli_cusum,
    bernoulli_weights,
    risk_adjusted_cusum,
)
from rqa.spc.laney_chart import LaneyChart, laney_p_chart, laney_u_chart
from rqa.spc.many_charts import ManyCharts, p_charts, u_charts
from rqa.spc.moving_average import EwmaChart, ewma_chart
from rqa.spc.patterns import LimitRule, TrendRule, ZoneRule
from rqa.spc.proportion_chart import ProportionChart, np_chart, p_chart
from rqa.spc.rare_event_chart import GapChart, TimeChart, g_chart, t_chart
from rqa.spc.rate_chart import RateChart, c_chart, u_chart
from rqa.spc.recommendation import Recommendation
from rqa.spc.rules import MONTHLY, NELSON, WESTERN_ELECTRIC, beyond_limits, nelson, signal_masks, western_electric
from rqa.spc.run_lengths import (
    BernoulliDesign,
    CusumDesign,
    Detection,
    EwmaDesign,
    NormalPoints,
    RiskAdjustedDesign,
    RunLength,
    SharePoints,
    ShewhartDesign,
    false_alarm_chance,
    limit_for,
    periods_to_detect,
    run_length,
    share_shift,
)
from rqa.spc.single_value_chart import IndividualsChart, individuals_chart
from rqa.spc.subgroup_chart import SubgroupChart, xbar_r_chart, xbar_s_chart
from rqa.spc.subgroup_constants import Constants, constants
from rqa.spc.tabular_cusum import CusumChart, cusum_chart
from rqa.spc.watch_limits import family_limits
from rqa.spc.watch_sums import HeldSums, held_sums

__all__ = [
    "MONTHLY",
    "NELSON",
    "WESTERN_ELECTRIC",
    "BernoulliCusum",
    "BernoulliDesign",
    "Chart",
    "Constants",
    "CusumChart",
    "CusumDesign",
    "Detection",
    "EwmaChart",
    "EwmaDesign",
    "GapChart",
    "HeldSums",
    "IndividualsChart",
    "LaneyChart",
    "LimitRule",
    "ManyCharts",
    "NormalPoints",
    "ProportionChart",
    "RateChart",
    "Recommendation",
    "RiskAdjustedCusum",
    "RiskAdjustedDesign",
    "RunLength",
    "SetAside",
    "SharePoints",
    "ShewhartDesign",
    "Signal",
    "SubgroupChart",
    "TimeChart",
    "TrendRule",
    "ZoneRule",
    "bernoulli_cusum",
    "bernoulli_weights",
    "beyond_limits",
    "c_chart",
    "constants",
    "cusum_chart",
    "ewma_chart",
    "false_alarm_chance",
    "family_limits",
    "g_chart",
    "held_sums",
    "individuals_chart",
    "laney_p_chart",
    "laney_u_chart",
    "limit_for",
    "nelson",
    "np_chart",
    "p_chart",
    "p_charts",
    "periods_to_detect",
    "risk_adjusted_cusum",
    "run_length",
    "share_shift",
    "signal_masks",
    "t_chart",
    "u_chart",
    "u_charts",
    "western_electric",
    "which_chart",
    "xbar_r_chart",
    "xbar_s_chart",
]
