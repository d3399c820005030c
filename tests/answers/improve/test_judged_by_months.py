"""Verdicts from made counts by month: taken back when the change goes, and slower where months vary."""

from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl
import pytest

from rqa.answers.core.scope import month_end, months_back, next_month
from rqa.answers.improve.action_judged import ActionJudgement, judge
from rqa.answers.improve.action_work import KINDS

START = date(2026, 1, 1)
STEADY = (24, 25, 23, 24, 26, 23, 24, 25, 24, 23, 25, 24)
"""Come-backs of 300 jobs a month in the year before: 8 %."""


def judged(before: Sequence[int], after: Sequence[int], jobs: int = 300) -> ActionJudgement:
    rows, month = [], months_back(START, len(before))
    for number, returned in enumerate((*before, *after)):
        side = "before" if number < len(before) else "after"
        recent = len(before) - 2 <= number < len(before)
        rows.append(("Alder", "M", "board", "paid", side, month, next_month(month), recent, jobs, returned))
        month = next_month(month)
    names = [*KINDS, "side", "closed_month", "known_month", "recent", "matured", "returned"]
    frame = pl.DataFrame(rows, schema=names, orient="row")
    return judge(
        frame, None, first_on=START - timedelta(days=365), started_on=START, today=month_end(month), window=30,
        level=0.95, expected=0.5,
    )


@pytest.mark.parametrize(
    ("after", "verdict"),
    [
        ((12, 11, 13, 12, 12, 11, 12, 13), "worked"),
        ((12, 11, 12, 25, 24, 26, 24, 25), "worked, has faded"),
        ((48, 50, 47, 49, 48, 50), "made it worse"),
        ((48, 50, 47, 24, 23, 25, 24, 24), "made it worse, has passed"),
        ((24, 25, 23, 25, 24, 23, 24, 25, 24, 24, 23, 25), "no sign yet"),
    ],
)
def test_a_change_that_goes_again_is_told_to_have_gone(after: Sequence[int], verdict: str) -> None:
    found = judged(STEADY, after)
    assert found.verdict == verdict
    gone = [w for w in found.warnings if w.startswith("More than half of the change is gone")]
    assert bool(gone) == ("has" in verdict)
    if "faded" in verdict:
        # By hand: 35 of 900 in the three months after the start, 124 of 1,500 since, 290 of 3,600 before it.
        said = "3.9 % of 900 jobs known up to April 2026 came back, 8.3 % of 1,500 since, against 8.1 %"
        assert said in gone[0].replace("\N{NO-BREAK SPACE}", " ")


def test_half_of_a_gain_that_is_kept_is_no_fading() -> None:
    # From 8 % to 4 %, then 5 %: a quarter of the change is gone.
    assert judged(STEADY, (12, 12, 12, 15, 15, 15, 15, 15, 15)).verdict == "worked"


def test_months_that_vary_ask_for_more() -> None:
    varied = (14, 36, 18, 33, 12, 35, 20, 34, 15, 33, 16, 24)
    after = (15, 15, 16, 14)
    assert sum(varied) == sum(STEADY)
    calm, wild = judged(STEADY, after), judged(varied, after)
    assert (calm.verdict, wild.verdict) == ("worked", "too early")
    # By hand: Pearson's sum over eleven degrees of freedom, of shares near 8 % of 300.
    mean = sum(varied) / 12
    spread = sum((x - mean) ** 2 for x in varied) / (mean * (1 - mean / 300)) / 11
    assert f"vary {spread:.1f} times as much" in wild.warnings[0]
    assert wild.jobs_needed is not None
    assert calm.jobs_needed is not None
    assert wild.jobs_needed > calm.jobs_needed


def test_what_the_plan_missed_can_still_be_found() -> None:
    """A gain of a quarter is too little for a plan of a half; with four times the work it shows."""
    found = judged(STEADY, (18,) * 24)
    assert found.verdict == "worked"
    assert found.seen_on is not None
    assert found.seen_on > START + timedelta(days=150)
