"""Control charts: is a figure steady from period to period, or did something change.

Pure functions: counts in, a frozen `Chart` of NumPy arrays out, with the signals of the rules it was put to. They
know NumPy and SciPy and nothing of logs, stores or drawing.
"""

from rqa.spc.chart import Chart, SetAside, Signal
from rqa.spc.constants import Constants, constants
from rqa.spc.individuals_chart import IndividualsChart, individuals_chart
from rqa.spc.laney_chart import LaneyChart, laney_p_chart, laney_u_chart
from rqa.spc.many_charts import ManyCharts, p_charts, u_charts
from rqa.spc.proportion_chart import ProportionChart, np_chart, p_chart
from rqa.spc.rare_event_chart import GapChart, TimeChart, g_chart, t_chart
from rqa.spc.rate_chart import RateChart, c_chart, u_chart
from rqa.spc.rules import beyond_limits, nelson, signal_masks, western_electric
from rqa.spc.subgroup_chart import SubgroupChart, xbar_r_chart, xbar_s_chart

__all__ = [
    "Chart",
    "Constants",
    "GapChart",
    "IndividualsChart",
    "LaneyChart",
    "ManyCharts",
    "ProportionChart",
    "RateChart",
    "SetAside",
    "Signal",
    "SubgroupChart",
    "TimeChart",
    "beyond_limits",
    "c_chart",
    "constants",
    "g_chart",
    "individuals_chart",
    "laney_p_chart",
    "laney_u_chart",
    "nelson",
    "np_chart",
    "p_chart",
    "p_charts",
    "signal_masks",
    "t_chart",
    "u_chart",
    "u_charts",
    "western_electric",
    "xbar_r_chart",
    "xbar_s_chart",
]
