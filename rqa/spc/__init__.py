"""Control charts: is a figure steady from period to period, or did something change.

Pure functions: counts in, a frozen `Chart` of NumPy arrays out, with the signals of the rules it was put to. They
know NumPy and SciPy and nothing of logs, stores or drawing.
"""

from rqa.spc.chart import Chart, Signal
from rqa.spc.proportion_chart import ProportionChart, p_chart
from rqa.spc.rules import beyond_limits, nelson, signal_masks, western_electric

__all__ = [
    "Chart",
    "ProportionChart",
    "Signal",
    "beyond_limits",
    "nelson",
    "p_chart",
    "signal_masks",
    "western_electric",
]
