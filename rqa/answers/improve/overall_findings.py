"""What the month's own figures state: against the months before, and as projected.

A signal on a control chart is not among them: the chart keeps a promise of its own, of false alarms over the months,
and a single month says what it can against the year before.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import hypot

from rqa.answers.charts.month import month_against_before
from rqa.answers.comebacks.projection import projection
from rqa.answers.core.contrasts import bad_ratio, enough
from rqa.answers.core.finding import Finding
from rqa.answers.core.scope import Snapshot
from rqa.words import count, counted_of, month_name, percent


@dataclass(frozen=True)
class MonthMeasure:
    """One of the month's figures: its name, what its cases are, and how the depot is asked for it."""

    name: str
    cases: str
    measure: str
    window: int
    worse_is_up: bool

    @property
    def verb(self) -> str:
        """"is" or "are", after its name."""
        return "are" if self.measure == "comebacks" else "is"


FIGURES = (
    MonthMeasure("come-backs within 30 days", "matured jobs", "comebacks", 30, True),
    MonthMeasure("come-backs within 90 days", "matured jobs", "comebacks", 90, True),
    MonthMeasure("first-pass yield", "first checks", "first_pass_yield", 30, False),
    MonthMeasure("clean-job share", "checked jobs", "clean_jobs", 30, False),
)
GROUNDS = {
    "comebacks": ("closed_jobs", "repeat_units", "final_comebacks"),
    "first_pass_yield": ("checks", "final_checks"),
    "clean_jobs": ("logs", "final_clean"),
}
"""What each figure rests on."""
EARLIER = {"comebacks": "earlier_comebacks", "first_pass_yield": "earlier_checks", "clean_jobs": "earlier_clean"}
"""What the comparison of each figure with the months before rests on."""
AGAINST = "{} of the month against the year before"
"""The kind of finding that compares a figure of the month; `{}` is its name."""
UNLIKE = "the mix of work and the season are not allowed for"
LOOK = "see which kinds of work, sites and steps moved, and what was changed in the month before"


def against_before(snapshot: Snapshot, month: date, finals: dict[int, date]) -> Iterator[Finding]:
    """Each figure of the month (of come-backs, of the latest that is final) against the year before."""
    for figure in FIGURES:
        own = finals.get(figure.window) if figure.measure == "comebacks" else month
        found = month_against_before(snapshot, figure.measure, month=own, window=figure.window) if own else None
        if found is None or found.p_value is None or not enough(found.size, found.before_size):
            continue
        rise = (found.difference or 0.0) > 0
        worse = rise == figure.worse_is_up
        word = "worse" if worse else "better"
        before = found.before_share or 0.0
        yield Finding(
            kind=AGAINST.format(figure.name),
            scope={},
            what=(
                f"{figure.name} in {month_name(found.month)} {percent(found.share)} ({count(found.count)} of "
                f"{counted_of(found.size, figure.cases)}), {word} than {percent(before)} in the months before"
            ),
            measure="difference of shares",
            size=found.difference or 0.0,
            low=found.difference_low or 0.0,
            high=found.difference_high or 0.0,
            worse=worse,
            jobs=found.size,
            p_value=found.p_value,
            caution=UNLIKE,
            check=LOOK,
            avoided=max(0.0, found.count - found.size * before) if figure.measure == "comebacks" else None,
            either_way=True,
            relative=bad_ratio(found.count, found.size, found.before_count, found.before_size, figure.worse_is_up),
        )


def projected(snapshot: Snapshot, month: date) -> Iterator[Finding]:
    """The rate that the month will show, if it is not final yet, against the mature months of the year before.

    The interval of the difference is put together from those of both rates, as Newcombe's (1998) is.
    """
    from rqa.stats import proportion_interval

    for figure in FIGURES[:2]:
        rows = projection(snapshot, window=figure.window).table
        own = rows.filter((rows["month"] == month) & (rows["matured"] < rows["jobs"])).to_dicts()
        earlier = rows.filter((rows["month"] < month) & (rows["matured"] == rows["jobs"])).tail(12)
        size, events = int(earlier["matured"].sum()), int(earlier["returned_so_far"].sum())
        if not own or own[0]["projected"] is None or not own[0]["low"] or not enough(size) or not events:
            continue
        row = own[0]
        before = proportion_interval(successes=events, trials=size)
        projected_share, usual = row["projected"], float(before.estimate)
        gap = _logit(projected_share) - _logit(usual)
        spread = ((_width(row["low"], row["high"])) ** 2 + _width(float(before.low), float(before.high)) ** 2) ** 0.5
        yield Finding(
            kind=f"projected {figure.name}",
            scope={},
            what=(
                f"{figure.name} of {month_name(month)} are projected at {percent(projected_share)} (interval "
                f"{percent(row['low'])} to {percent(row['high'])}), {'worse' if gap > 0 else 'better'} than "
                f"{percent(usual)} in the mature months before"
            ),
            measure="difference of shares",
            size=projected_share - usual,
            low=projected_share - usual - hypot(projected_share - row["low"], float(before.high) - usual),
            high=projected_share - usual + hypot(row["high"] - projected_share, usual - float(before.low)),
            worse=gap > 0,
            jobs=row["jobs"],
            p_value=_two_sided(gap / spread),
            caution="a projection: recent months stand for the days that are still to come",
            check=LOOK,
            avoided=max(0.0, row["jobs"] * (projected_share - usual)),
            either_way=True,
            relative=projected_share / usual,
        )


def _logit(share: float) -> float:
    from scipy import special

    return float(special.logit(min(max(share, 1e-6), 1 - 1e-6)))


def _width(low: float, high: float) -> float:
    """The standard error behind a 95 % interval, on the scale of log odds."""
    from scipy import special

    return (_logit(high) - _logit(low)) / (2 * float(special.ndtri(0.975)))


def _two_sided(z: float) -> float:
    from scipy import special

    return float(2.0 * special.ndtr(-abs(z)))
