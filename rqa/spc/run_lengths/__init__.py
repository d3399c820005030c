"""Run lengths: how long until a chart signals, by chance alone or after a change, and which limit to take for it."""

from rqa.spc.run_lengths.ask import (
    Detection,
    false_alarm_chance,
    periods_to_detect,
    run_length,
    share_shift,
)
from rqa.spc.run_lengths.designs import BernoulliDesign, CusumDesign, EwmaDesign, RiskAdjustedDesign, ShewhartDesign
from rqa.spc.run_lengths.limit import limit_for
from rqa.spc.run_lengths.points import NormalPoints, SharePoints
from rqa.spc.run_lengths.result import RunLength

__all__ = [
    "BernoulliDesign",
    "CusumDesign",
    "Detection",
    "EwmaDesign",
    "NormalPoints",
    "RiskAdjustedDesign",
    "RunLength",
    "SharePoints",
    "ShewhartDesign",
    "false_alarm_chance",
    "limit_for",
    "periods_to_detect",
    "run_length",
    "share_shift",
]
