"""`depot.returns`: when units come back, why, how often, and what that makes of a unit or a cohort."""

from rqa.answers.comebacks.claims import claims as _claims
from rqa.answers.comebacks.classes import comeback_causes as _comeback_causes
from rqa.answers.comebacks.cohorts import cohorts as _cohorts
from rqa.answers.comebacks.cohorts import return_indices as _return_indices
from rqa.answers.comebacks.curve_comparison import compare_curves as _compare_curves
from rqa.answers.comebacks.curves import comeback_curve as _comeback_curve
from rqa.answers.comebacks.curves import days_until as _days_until
from rqa.answers.comebacks.forecast import forecast as _forecast
from rqa.answers.comebacks.hazard import comeback_hazard as _comeback_hazard
from rqa.answers.comebacks.lots import lots as _lots
from rqa.answers.comebacks.mix import comeback_mix as _comeback_mix
from rqa.answers.comebacks.projection import projection_backtest as _projection_backtest
from rqa.answers.comebacks.recurrences import recurrence_difference as _recurrence_difference
from rqa.answers.comebacks.recurrences import recurrences as _recurrences
from rqa.answers.comebacks.recurrences import return_trends as _return_trends
from rqa.answers.comebacks.return_matrix import comeback_marks as _comeback_marks
from rqa.answers.comebacks.return_matrix import comeback_matrix as _comeback_matrix
from rqa.answers.comebacks.returns_held import units_holding as _units_holding
from rqa.answers.comebacks.unit_lists import chronic_units as _chronic_units
from rqa.answers.comebacks.unit_lists import worst_share as _worst_share
from rqa.asking import Area, question


class Returns(Area):
    """When units come back, why, how often, and what that makes of a unit or a cohort."""

    curve = question(_comeback_curve)
    days_until = question(_days_until)
    hazard = question(_comeback_hazard)
    compare_curves = question(_compare_curves)
    classes = question(_comeback_causes)
    matrix = question(_comeback_matrix)
    marks = question(_comeback_marks)
    mix = question(_comeback_mix)
    recurrences = question(_recurrences)
    recurrence_difference = question(_recurrence_difference)
    trends = question(_return_trends)
    lots = question(_lots)
    claims = question(_claims)
    chronic_units = question(_chronic_units)
    worst_share = question(_worst_share)
    units_holding = question(_units_holding)
    forecast = question(_forecast)
    projection_backtest = question(_projection_backtest)
    cohorts = question(_cohorts)
    indices = question(_return_indices)
