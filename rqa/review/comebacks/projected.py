"""The month's come-back rates before they are mature: what they will be, said to be a projection wherever it stands."""

from datetime import date

import polars as pl

from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import Grounds
from rqa.answers.core.needs import untold
from rqa.answers.core.scope import month_end
from rqa.answers.improve.overall_findings import FIGURES
from rqa.depot import Depot
from rqa.review.facts import Projected
from rqa.words import count, counted, interval, month_name, percent, plural


def projections(depot: Depot, month: date) -> tuple[Projected, ...]:
    """One a headline come-back rate that the month itself does not have yet; none for a mature month."""
    found, there = [], depot.grounds()
    for measure in FIGURES:
        if measure.measure == "comebacks":
            answer = depot.projection(measure.window, months=month)
            table = answer.table
            none = untold(answer)
            if none and table.height:
                no = "no data"
                found.append(Projected(measure.name, month_name(month), no, no, none))
                continue
            for row in table.filter(pl.col("matured") < pl.col("jobs")).iter_rows(named=True):
                found.append(_projected(there, measure.name, measure.window, month, depot.as_of.date(), row))
    return tuple(found)


def _projected(there: Grounds, name: str, window: int, month: date, day: date, row: dict[str, object]) -> Projected:
    own, jobs = month_name(month), count(row["jobs"])
    back, out = row["returned_so_far"], row["matured"]
    so_far = f"{count(back)} of {counted(jobs, 'job')} {plural(back, 'is', 'are')} back so far"
    waiting = f"{count(out)} of {jobs} {plural(out, 'has', 'have')} been out {counted(window, 'day')}"
    projected, low, high, least, most = (
        value if isinstance(value := row[column], float) else None
        for column in ("projected", "low", "high", "final_low", "final_high")
    )
    if projected is None:
        about, of = f"what {name} of {own} will be", f"recent jobs that have been out {counted(window, 'day')}"
        return Projected(name, own, "no data", "no data", there.claim("", *SEEN, about=about, among=(0, of)))
    final = interval(least, most).replace(" to ", " and ")
    final = f"at {percent(least)}" if percent(least) == percent(most) else f"between {final}"
    open_end = ", of the jobs closed so far," if month_end(month) > day else ""
    sentence = (
        f"Projected, not yet mature: of the jobs closed in {own}, {percent(projected)} will have come back within "
        f"{counted(window, 'day')} (95 % interval of the true rate {interval(low, high)}); the month's own "
        f"figure{open_end} will end {final} (95 % interval). {so_far}, {waiting}."
    )
    return Projected(name, own, percent(projected), interval(low, high), sentence)
