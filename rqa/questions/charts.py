"""`depot.charts`: measures over time beside the control chart: the job-by-job CUSUM, detection, capability."""

from rqa.answers.charts.capability import capability as _capability
from rqa.answers.charts.cusum import comeback_cusum as _comeback_cusum
from rqa.answers.charts.detection import time_to_detect as _time_to_detect
from rqa.answers.charts.level import level as _level
from rqa.answers.charts.month import month_against_before as _month_against_before
from rqa.answers.charts.watch import watch as _watch
from rqa.answers.improve.month_figures import month_figures as _month_figures
from rqa.asking import Area, Question, question


class Charts(Area):
    """Measures over time beside the control chart: the job-by-job CUSUM, detection, capability."""

    cusum = question(_comeback_cusum)
    time_to_detect = question(_time_to_detect)
    capability = question(_capability)
    level = Question(_level)
    month_figures = question(_month_figures)
    watch = question(_watch)
    month_against_before = Question(_month_against_before)
