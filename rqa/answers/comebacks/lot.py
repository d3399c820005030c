"""One lot of a part: which jobs it was fitted in, what came back so far, and how many more are to be expected."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rqa.answers.core.case_lists import OWN_JOBS
from rqa.answers.core.follow_up_counts import FollowUp, follow_up
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.job_lists import with_costs
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, check_level, is_number
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.shown import told
from rqa.words import count, counted, did_you_mean, enumerated, plural

if TYPE_CHECKING:
    import polars as pl

LOT = "lot"
AGES = (30, 90, 180, 365)
"""Days since closing up to which come-backs are expected."""
SAID = 12
OUT, BACK, NOT_FOLLOWED = "still out", "came back", "not followed"
ENDED = (BACK, OUT, "left service", "not repaired", NOT_FOLLOWED)


@dataclass(frozen=True, eq=False, repr=False)
class Lot(Answer):
    """The jobs in which a lot was fitted: job_id, unit_id, site, model, procedure, closed_on, ended, days, class,
    return_job_id, cost.

    `expected` says how many more are to be expected: days (since closing), until, back, at_own_pace, at_usual_pace,
    low, high, cost; None where no unit is still out.
    """

    expected: "pl.DataFrame | None" = None

    question = "One lot of a part"
    needs = ("lot", *SEEN)
    lists = OWN_JOBS
    may_hold: ClassVar[Mapping[str, tuple[str, ...]]] = {"ended": ENDED}


def lot(
    snapshot: Snapshot, part_no: str, lot: str, *, recall_cost: float | None = None, level: float = 0.95
) -> Lot:
    """List the jobs in which a lot of a part was fitted, and say how many more of them are to be expected back.

    `part_no` and `lot`: as in the parts lists. `recall_cost`: what it would cost to call one unit back, in the
    workspace's currency; with it a note sets that beside the cost of waiting.

    A row a closed job, by closing day: job_id, unit_id, site, model, procedure, closed_on, ended ("came back", "still
    out", "left service", "not repaired", "not followed": repaired, but it overlaps another job of its unit), days (from
    closing until then, or until the as-of day; null of the last two), class and return_job_id of the return, cost (of
    the come-back, null where it is not known).

    `.expected` has a row for each age of 30, 90, 180 and 365 days that repairs with any lot of this part were followed
    to: days, until (the day on which the youngest of the lot reaches it), back (so far, within it), then how many of
    those still out are expected back by then: at_own_pace, if they go on as the lot did so far
    (`rqa.stats.projected_share`), and at_usual_pace, if from now on they come back as units with any lot of the part do
    at that age. Which of the two holds is not known beforehand: a fault that shows early slows down. low and high hold
    both with their limits (they held 142 of 146 forecasts of lots of the demo at 100,000 jobs: tests/bench/lots.py);
    cost is that of at_own_pace, at the mean cost of the lot's come-backs so far. To export the units to call back:
    `.jobs(ended="still out").to_excel("recall.xlsx")`; a note says where those of `.jobs(ended="not followed")` must be
    added.

    Raises `RequestError` for a part or lot that was never fitted.

    >>> r = depot.lot("AC-31", "K-2541")
    >>> r.table["ended"].value_counts().sort("ended").rows()
    [('came back', 18), ('left service', 1), ('still out', 21)]

    Of 40 repairs with the lot, 18 came back.
    """
    check_level(LOT, level)
    if recall_cost is not None and (not is_number(recall_cost) or recall_cost < 0):
        raise RequestError(f"{LOT}: recall_cost is an amount from 0 up, for one unit: {recall_cost!r}.")
    _check_fitted(snapshot, part_no, lot)
    found = counts(
        snapshot.store, "lot_jobs", values={"part": part_no, "lot": lot, "as_of": snapshot.day}
    )
    table = with_costs(snapshot, found, "repaired", beside="return_job_id")
    settings = {"part_no": part_no, "lot": lot, "recall_cost": recall_cost, "as_of": snapshot.day, "level": level}
    expected = _expected(snapshot, part_no, lot, table, level)
    notes = (*snapshot.notes, *_notes(snapshot, table, expected, recall_cost))
    return Lot(table, settings, notes, expected=expected)


def _check_fitted(snapshot: Snapshot, part_no: str, lot: str) -> None:
    """Raise `RequestError` unless the lot was fitted, naming what there is."""
    there = counts(snapshot.store, "lots_fitted", values={"as_of": snapshot.day})
    for name, given, more in (("part_no", part_no, "with a lot written down "), ("lot", lot, "")):
        named = [str(one) for one in there[name].unique().sort().to_list()]
        if given not in named:
            raise RequestError(
                f"{LOT}: no {name} {told(given)} {more}was fitted up to {snapshot.day}. There is: "
                f"{enumerated(named[:SAID] + ['…'] * (len(named) > SAID)) or 'none'}.{did_you_mean(str(given), named)}"
            )
        there = there.filter(there[name] == given)


def _expected(
    snapshot: Snapshot, part_no: str, lot: str, table: "pl.DataFrame", level: float
) -> "pl.DataFrame | None":
    """How many more are expected back by each age."""
    import polars as pl
    from scipy.stats import poisson

    from rqa.stats import kaplan_meier, projected_share

    youngest = table.filter(table["ended"] == OUT)["closed_on"].max()
    if not isinstance(youngest, date):
        return None
    seen = {
        which: follow_up(
            LOT, snapshot, by=(), where={"part_no": part_no, **more}, months=None, index_disposition="repaired",
            upto=AGES[-1],
        )
        for which, more in (("own", {"lot": lot}), ("all", {}))
    }
    paid = table.filter(table["ended"] == BACK)["cost"].drop_nulls()
    mean = float(paid.mean()) if len(paid) else None  # type: ignore[arg-type]
    rows = []
    for age in AGES:
        day, back, gone = _upto(seen["own"], age, gone_stay_out=True)
        pooled_day, pooled_back, pooled_gone = _upto(seen["all"], age)
        pooled = kaplan_meier(day=pooled_day, returned=pooled_back, censored=pooled_gone, level=level)
        if not pooled.at_risk[-1]:
            continue
        r = projected_share(day=day, returned=back, censored=gone, pooled=pooled, window=age, level=level)
        jobs, so_far, more = int(r.jobs), int(r.returned), float(r.more)
        stays = np.clip(1.0 - pooled.share, 1e-12, None)
        usual = float((np.where(day < age, gone, 0) * (1.0 - stays[-1] / stays)).sum())
        ends = [float(end) * jobs - so_far for end in (r.final_low, r.final_high)]
        ends += poisson.interval(level, usual) if usual > 0 else (0.0, 0.0)
        cost = None if mean is None else round(more * mean, 2)
        until = youngest + timedelta(days=age)
        rows.append((age, until, so_far, more, usual, max(0.0, min(ends)), max(ends), cost))
    schema: dict[str, type[pl.DataType]] = {
        "days": pl.Int64, "until": pl.Date, "back": pl.Int64, "at_own_pace": pl.Float64,
        "at_usual_pace": pl.Float64, "low": pl.Float64, "high": pl.Float64, "cost": pl.Float64,
    }
    made = pl.DataFrame(rows, schema=schema, orient="row")
    figures = ("at_own_pace", "at_usual_pace", "low", "high")
    return made.with_columns(rounded(made[name]).alias(name) for name in figures)


def _upto(
    seen: FollowUp, age: int, *, gone_stay_out: bool = False
) -> "tuple[np.ndarray, np.ndarray, np.ndarray]":
    """Returns and ends of follow-up by day up to an age; what came later was followed up to it.

    `gone_stay_out`: units that left service will not come back, so they count as followed to the end.
    """
    back, gone = seen.back[0], seen.followed[0] if gone_stay_out else seen.censored[0]
    later = int(back[age + 1 :].sum() + gone[age + 1 :].sum())
    held = gone[: age + 1].copy()
    held[-1] += later + (int(seen.retired[0].sum()) if gone_stay_out else 0)
    return np.arange(age + 1), back[: age + 1], held


def _notes(
    snapshot: Snapshot, table: "pl.DataFrame", expected: "pl.DataFrame | None", recall_cost: float | None
) -> list[str]:
    ends: dict[str, int] = dict(table["ended"].value_counts().rows())
    units = table["unit_id"].n_unique()
    notes = [
        f"Fitted in {counted(table.height, 'job')} on {counted(units, 'unit')}: {count(ends.get(BACK, 0))} came back, "
        f"{count(ends.get(OUT, 0))} still out."
    ]
    if ends.get(BACK, 0):
        notes.append(
            "A unit that came back may have the part in it still, where another fault was mended then: .returned() "
            "says what was found. Call back those in which it was not replaced, too."
        )
    if unfollowed := ends.get(NOT_FOLLOWED, 0):
        notes.append(
            f"{counted(unfollowed, 'repaired job overlaps', 'repaired jobs overlap')} another job of the same unit, so "
            f"what came back afterwards is not followed. A recall must include {plural(unfollowed, 'it', 'them')}, "
            f"too: .jobs(ended={told(NOT_FOLLOWED)})."
        )
    if expected is None or expected.is_empty():
        return notes
    last = expected.row(-1, named=True)
    notes.append(
        f"Of those still out {last['at_own_pace']:.1f} more are expected within {counted(last['days'], 'day')} of "
        f"closing, by {last['until']}, at the lot's own pace so far, and {last['at_usual_pace']:.1f} at the usual one; "
        f"limits of both {last['low']:.0f} to {last['high']:.0f}."
    )
    if recall_cost is not None and last["cost"] is not None:
        currency = snapshot.store.about.get("currency", "")
        notes.append(
            f"To call back all {count(ends.get(OUT, 0))} costs {ends.get(OUT, 0) * recall_cost:,.2f} {currency}; to "
            f"wait for these come-backs about {last['cost']:,.2f} {currency}, and what failures cost the customer."
        )
    return notes
