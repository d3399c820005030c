"""How many come-backs the next weeks will bring, from the units that are out now; and whether that came true so far."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import check_index_disposition, group_numbers
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import (
    By,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_values,
    scope,
    whole_number,
)
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import counted, percent

if TYPE_CHECKING:
    import polars as pl

QUESTION = "forecast"
WEEKS = (4, 8, 13)
RECENT = 365
"""Days before the one looked from whose returns, by age, say how often units come back."""
EVERY = 28
"""Days between the past days from which the forecast is tried."""
BEFORE = 180
"""Days of closings that lie before the first of these."""
LONGEST_WEEKS = 52
LIKE_RETURNS = 10.0
"""Returns as which all groups together count beside a group's own pace (common practice, no source)."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False, repr=False)
class Forecast(Answer):
    """Come-backs expected of the units out now: groups, weeks, until, out, expected, low, high.

    `backtest` has a row a past day, group and horizon: seen_on, weeks, out, expected, low, high, came, held; `coverage`
    sums it up by weeks: forecasts, held, share.
    """

    backtest: "pl.DataFrame | None" = None
    coverage: "pl.DataFrame | None" = None

    question = "Come-backs of the next weeks"
    needs = SEEN

    def listed(self) -> CaseList:
        """The units out now: jobs without a return or retirement so far."""
        return CaseList(
            "listed_followed_jobs", {"out": Count(("followed",), at={"weeks": None})}, values={"upto": LONGEST_DAYS},
        )


LONGEST_DAYS = 36_500


@dataclass(frozen=True, eq=False)
class _Followed:
    """Rows of follow-up: closing day and days followed as numbers, how it ended, the group, and how many jobs."""

    closed: Ints
    days: Ints
    back: NDArray[np.bool_]
    gone: NDArray[np.bool_]
    group: Ints
    jobs: Ints
    groups: int

    def looked_at(self, day: int, ahead: tuple[int, ...]) -> tuple[Ints, Floats, Floats, Floats]:
        """Seen from a day: units out, expected, variance, by group and horizon (units out: by group)."""
        from rqa.stats import returns_ahead

        known = self.closed <= day
        closed, jobs, group = self.closed[known], self.jobs[known], self.group[known]
        end = closed + self.days[known]
        back, gone = self.back[known] & (end <= day), self.gone[known] & (end <= day)
        until = np.minimum(end, day) - closed
        ages = int(until.max(initial=0)) + 1
        # Ages at which a job was out in the recent days: those after its closing, or after their beginning.
        first = np.maximum(day - RECENT - closed + 1, 0)
        seen = until >= first
        size = (self.groups, ages + 1)
        risk = np.zeros(size)
        np.add.at(risk, (group[seen], first[seen]), jobs[seen])
        np.add.at(risk, (group[seen], until[seen] + 1), -jobs[seen])
        risk = np.cumsum(risk, axis=1)[:, :ages]
        came = np.zeros((self.groups, ages))
        np.add.at(came, (group[seen & back], until[seen & back]), jobs[seen & back])
        still = ~(back | gone)
        out = np.zeros((self.groups, ages))
        np.add.at(out, (group[still], until[still]), jobs[still])
        n, r = np.rint(risk.sum(axis=0)).astype(np.int64), np.rint(came.sum(axis=0)).astype(np.int64)
        hazard = np.divide(r, n, out=np.zeros(ages), where=n > 0)
        own = came.sum(axis=1) + LIKE_RETURNS
        pace = own / (risk @ hazard + LIKE_RETURNS) if self.groups > 1 else np.ones(1)
        unsure = pace**2 / own if self.groups > 1 else np.zeros(1)
        expected, variance = np.zeros((self.groups, len(ahead))), np.zeros((self.groups, len(ahead)))
        for k, span in enumerate(ahead):
            found = returns_ahead(at_risk=n, returned=r, out=out, ahead=span)
            expected[:, k] = pace * found.expected
            variance[:, k] = pace * found.by_chance + pace**2 * found.by_hazard + unsure * found.expected**2
        return out.sum(axis=1).astype(np.int64), expected, variance, hazard

    def came(self, day: int, ahead: int) -> Floats:
        """How many units that were out on a day came back in the days ahead, by group."""
        end = self.closed + self.days
        within = (self.closed <= day) & self.back & (end > day) & (end <= day + ahead)
        return np.bincount(self.group[within], weights=self.jobs[within], minlength=self.groups).astype(np.float64)


@asked_once
def forecast(
    snapshot: Snapshot,
    weeks: tuple[int, ...] = WEEKS,
    *,
    by: By = ("site", "model"),
    where: Where | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Forecast:
    """Say how many of the units out now will come back in the next weeks, by site and model.

    Parameters
    ----------
    weeks
        How far to look ahead, whole numbers of weeks, 1 to 52.
    by, where
        site, model, procedure, technician, billing.

    Returns
    -------
    Forecast
        A row a group and horizon: weeks, until (its last day), out (units out now), expected, low and high (whole
        numbers between which the count will lie). `.backtest` makes the same forecast as of past days, 28 days apart,
        and sets beside it what came; `.coverage` sums that up.

    Notes
    -----
    A unit out comes back by the hazard at its age: returns over units seen out at that age, in the last 365 days, all
    groups together, times the pace of its group (its own returns to those that this hazard brings, drawn towards 1).
    Jobs that are still to be closed come on top: see `projection` for what a month's rate will be. Come-backs of
    whatever class count, however late. Ages that no unit was seen at bring none.

    The limits hold chance (a Poisson-binomial count), what the hazard and the pace leave open, and how far past
    forecasts of this depot were off beyond that, where three or more were tried; a change of work or parts is not in
    them.

    Examples
    --------
    >>> r = depot.returns.forecast(by=())
    >>> r.table.select("weeks", "out", "low", "high").rows()
    [(4, 2017, 20.0, 54.0), (8, 2017, 42.0, 97.0), (13, 2017, 69.0, 143.0)]

    Of 2,017 units out 20 to 54 will be back within four weeks.
    """
    import polars as pl

    check_level(QUESTION, level)
    check_index_disposition(QUESTION, index_disposition)
    if not isinstance(weeks, tuple | list) or not weeks or len(set(weeks)) < len(weeks):
        raise RequestError(f"{QUESTION}: weeks names one or more numbers of weeks, each once: {weeks!r}.")
    spans = tuple(7 * whole_number(QUESTION, "weeks", w, 1, LONGEST_WEEKS, of="weeks") for w in weeks)
    asked = scope(QUESTION, by=by, where=where, months=None, allowed=JOB_NAMES)
    check_values(snapshot.store, QUESTION, asked.where)
    table = counts(
        snapshot.store, "units_out", by=asked.by, where=asked.where,
        values={"as_of": snapshot.day, "disposition": index_disposition},
    )
    groups, followed = _followed(table, asked)
    today = (snapshot.day - date(1970, 1, 1)).days
    days = _past_days(followed, today)
    looks = {day: followed.looked_at(day, spans)[:3] for day in (*days, today)} if followed.groups else {}
    settings = {
        "weeks": tuple(weeks), "as_of": snapshot.day, "index_disposition": index_disposition, "by": asked.by,
        "where": dict(asked.where), "level": level, "method": "hazard by age in the last 365 days, pace by group",
    }
    rows = _rows(followed, looks, spans, [today], today, level) if followed.groups else []
    past = _rows(followed, looks, spans, days, today, level) if followed.groups else []
    made, tried = (_frame(groups, asked, part) for part in (rows, past))
    tried = tried.filter(pl.col("came").is_not_null()).with_columns(
        held=(pl.col("came") >= pl.col("low")) & (pl.col("came") <= pl.col("high"))
    )
    coverage = tried.group_by("weeks").agg(
        pl.len().cast(pl.Int64).alias("forecasts"), pl.col("held").sum().cast(pl.Int64)
    ).sort("weeks").with_columns((pl.col("held") / pl.col("forecasts")).round(6).alias("share"))
    made = made.drop("seen_on", "came")
    notes = (*snapshot.notes, *_notes(made, tried, level))
    return Forecast(made, settings, notes, backtest=tried, coverage=coverage)


def _followed(table: "pl.DataFrame", asked: Scope) -> "tuple[pl.DataFrame, _Followed]":
    groups, group = group_numbers(table, asked.by)
    ended = table["ended"].to_numpy()
    return groups, _Followed(
        table["closed_on"].cast(int).to_numpy().astype(np.int64), table["days"].to_numpy(), ended == "returned",
        ended == "retired", group, table["jobs"].to_numpy(), groups.height if asked.by else int(table.height > 0),
    )


def _past_days(followed: _Followed, today: int) -> list[int]:
    """The days from which the forecast is tried, counted back from the as-of day."""
    if not len(followed.closed):
        return []
    return list(range(today - EVERY, int(followed.closed.min()) + BEFORE, -EVERY))[::-1]


def _off(
    followed: _Followed, looks: "dict[int, tuple[Ints, Floats, Floats]]", k: int, span: int, day: int
) -> float:
    """How far past forecasts were off beyond what was in their limits, as a variance of their ratio; 0 of fewer than
    three that were over by the day."""
    over = [d for d in looks if d + span <= day]
    if len(over) < 3:
        return 0.0
    expected, variance, came = [], [], []
    for d in over:
        _, e, v = looks[d]
        expected.append(e[:, k].sum())
        variance.append(v[:, k].sum())
        came.append(followed.came(d, span).sum())
    m, v, x = np.array(expected), np.array(variance), np.array(came)
    return float(max(0.0, ((x - m) ** 2 - v).sum() / max(float((m**2).sum()), 1e-12)))


def _rows(
    followed: _Followed, looks: "dict[int, tuple[Ints, Floats, Floats]]", spans: tuple[int, ...], days: list[int],
    today: int, level: float,
) -> list[tuple[int, int, int, int, float, float, float, float | None]]:
    """Group, day, weeks, units out, expected, low, high and what came (None where it is not over)."""
    from rqa.stats import count_interval

    rows: list[tuple[int, int, int, int, float, float, float, float | None]] = []
    for day in days:
        out, expected, variance = looks[day]
        for k, span in enumerate(spans):
            more = _off(followed, looks, k, span, day)
            v = np.where(expected[:, k] > 0, np.maximum(variance[:, k] + more * expected[:, k] ** 2, 1e-9), 0.0)
            low, high = count_interval(mean=expected[:, k], variance=v, level=level)
            came = followed.came(day, span) if day + span <= today else None
            rows += [
                (g, day, span // 7, int(out[g]), float(expected[g, k]), float(low[g]), float(high[g]),
                 None if came is None else float(came[g]))
                for g in range(followed.groups)
            ]
    return rows


def _frame(
    groups: "pl.DataFrame", asked: Scope, rows: list[tuple[int, int, int, int, float, float, float, float | None]]
) -> "pl.DataFrame":
    import polars as pl

    place = [r[0] for r in rows]
    days = [date(1970, 1, 1) + timedelta(days=r[1]) for r in rows]
    made = pl.DataFrame([
        *(groups[name].gather(place) for name in asked.by),
        pl.Series("seen_on", days, dtype=pl.Date),
        pl.Series("weeks", [r[2] for r in rows], dtype=pl.Int64),
        pl.Series("until", [d + timedelta(weeks=r[2]) for d, r in zip(days, rows, strict=True)], dtype=pl.Date),
        pl.Series("out", [r[3] for r in rows], dtype=pl.Int64),
        rounded([r[4] for r in rows]).alias("expected"), rounded([r[5] for r in rows]).alias("low"),
        rounded([r[6] for r in rows]).alias("high"),
        pl.Series("came", [None if r[7] is None else round(r[7]) for r in rows], dtype=pl.Int64),
    ])
    return made.sort([*asked.by, "seen_on", "weeks"])


def _notes(made: "pl.DataFrame", tried: "pl.DataFrame", level: float) -> list[str]:
    if made.is_empty():
        return []
    notes = ["Of the units out now alone: jobs that are still to be closed come on top."]
    if tried.is_empty():
        return [*notes, "The store does not reach far enough back to try the forecast on the past."]
    held = int(tried["held"].sum())
    notes.append(
        f"{held} of {counted(tried.height, 'past forecast')} held what came: {percent(held / tried.height)}, where "
        f"{level * 100:g} % are promised of many. Those of one day, and of weeks that overlap, go together."
    )
    return notes
