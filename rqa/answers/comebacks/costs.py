"""What come-backs cost, what makes up most of it, and what the avoided ones would have cost."""

from dataclasses import dataclass
from math import hypot, isnan
from typing import TYPE_CHECKING

from rqa.answers.comebacks.cost_parts import PARTS, RATE, not_counted, uncounted_notes, without
from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count, marked
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.own_work import workmanship_untold
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import PERIODS, By, Months, Snapshot, Where, check_level, check_values, is_number, scope
from rqa.answers.core.told_sites import classes_asked, told_scope
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, plural

if TYPE_CHECKING:
    import polars as pl

QUESTION = "costs"
GROUPINGS = (*PERIODS, "site", "model", "procedure", "billing", "class")
"""month and week are those in which the unit came back; the others are of the index job, class of the come-back."""
UNKNOWN = {
    "still_open": "is still open|are still open",
    "no_costs": "at a site where no part of the cost is counted",
    "no_labour": "without labour minutes",
    "no_parts": "without the cost of parts",
    "no_freight": "without the cost of freight",
}


class ComebackCosts(Answer):
    """What come-backs cost, in the workspace's currency: comebacks, known, cost, cost_low, cost_high, mean, low, high,
    share, cumulative, labour, parts, freight, goodwill, still_open, no_costs, no_labour, no_parts, no_freight,
    not_counted."""

    question = "Cost of come-backs"
    needs = SEEN
    lists = CaseList(
        "listed_costs", {"comebacks": Count(), **marked("known", *UNKNOWN)}, rows=COMEBACKS, returned="comebacks"
    )


def costs(
    snapshot: Snapshot,
    by: By = ("class",),
    *,
    where: Where | None = None,
    months: Months | None = None,
    window: int = 30,
    level: float = 0.95,
) -> ComebackCosts:
    """Say what come-backs cost, and which groups make up most of it.

    A come-back costs the labour, parts and freight of its own job, plus those of the index job where that was billed as
    goodwill. Labour is its minutes at the workspace's `labour_rate`. Parts are the job's parts_cost, else quantity
    times unit_cost over its parts list. A part that no job of a site ever gives (as it is not mapped) is not counted
    there, and `not_counted` and a note say so. A come-back any counted part of whose cost is unknown, or whose job is
    still open, is counted and has no cost here; it is never taken as 0.

    `by` and `where` take month and week (in `by` alone, and of the day the unit came back), site, model, procedure,
    billing (of the index job) and class. Every come-back opened by the as-of day within `window` days of closing
    counts, so nothing has to mature.

    Columns: comebacks, known (with a known cost); cost, the sum over the known ones in the workspace's currency, with
    cost_low, cost_high (what such a group costs in the long run, by a gamma approximation to a compound Poisson total);
    mean of the known ones with low, high (Hall's interval for skewed amounts); share of the cost and cumulative share
    of this row and those above; labour, parts, freight, goodwill, which make up the cost (null where the part is not
    counted); still_open, no_costs, no_labour, no_parts, no_freight, the reasons of the unknown ones; not_counted, the
    parts left out. Costliest first. Without known costs there is no data.

    >>> depot.costs().table.select("class", "comebacks", "cost").row(0)
    ('workmanship', 86, 16406.36)

    Most of the cost comes from workmanship: 86 come-backs within 30 days, some 16,400 in the workspace's currency.
    """
    import polars as pl

    days_asked(QUESTION, "window", window)
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    asked = told_scope(snapshot, asked, *classes_asked(asked))
    rate = float(snapshot.store.about.get(RATE, 0))
    found = counts(
        snapshot.store, "comeback_costs", by=asked.by, where=asked.where, months=asked.months,
        values={"window": window, "as_of": snapshot.day, "disposition": "repaired", "rate": rate},
    )
    table = found.filter(pl.col("comebacks") > 0).sort(
        "cents", "comebacks", *asked.by, descending=[True, True, *(False for _ in asked.by)]
    )
    currency = snapshot.store.about.get("currency", "")
    settings = {
        "window": window, "as_of": snapshot.day, **asked.settings(), "labour_rate": rate or None, "currency": currency,
        "level": level, "method": "Fay-Feuer gamma for sums, Hall for means",
    }
    notes = (*snapshot.notes, *asked.left_out, *_notes(table, rate, currency))
    if "class" in asked.by:
        new = table.filter(pl.col("class") == "new_fault")["comebacks"]
        notes += workmanship_untold(snapshot, new_faults=int(new.sum()))
    return ComebackCosts(_table(table, asked.by, level), settings, notes)


def _table(table: "pl.DataFrame", by: tuple[str, ...], level: float) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import mean_interval, total_interval

    known = table["known"].to_numpy()
    total = total_interval(
        total=table["cents"].to_numpy(),
        squares=table["squares"].to_numpy(),
        largest=table["largest"].clip(1),
        level=level,
    )
    mean = mean_interval(
        number=known, total=table["cents"].to_numpy(), squares=table["squares"].to_numpy(),
        cubes=table["cubes"].to_numpy(), level=level,
    )
    whole = int(table["cents"].sum())
    share = pl.col("cents") / whole if whole else pl.lit(None, dtype=pl.Float64)
    running = pl.col("cents").cum_sum() / whole if whole else pl.lit(None, dtype=pl.Float64)
    there = pl.col("known") > 0
    counted = {part: there & (pl.col(without(part)) < pl.col("known")) for part in PARTS} | {"goodwill": there}
    money = {"cost_low": total.low, "cost_high": total.high, "mean": mean.estimate, "low": mean.low, "high": mean.high}
    return table.select(
        *by,
        "comebacks",
        "known",
        pl.when(there).then(pl.col("cents") / 100).alias("cost"),
        *(pl.when(there).then(rounded(v / 100).round(2)).alias(name) for name, v in money.items()),
        pl.when(there).then(share).round(6).alias("share"),
        pl.when(there).then(running).round(6).alias("cumulative"),
        *(pl.when(here).then(pl.col(n) / 100).alias(n) for n, here in counted.items()),
        *UNKNOWN,
        pl.Series("not_counted", [not_counted(row) for row in table.iter_rows(named=True)], dtype=pl.String),
    )


def _notes(table: "pl.DataFrame", rate: float, currency: str) -> list[str]:
    if not table.height:
        return []
    notes = uncounted_notes(table, rate)
    total, known = int(table["comebacks"].sum()), int(table["known"].sum())
    if known < total:
        why = [
            f"{n:,} {_one_or_many(words, n)}" for name, words in UNKNOWN.items() if (n := int(table[name].sum()))
        ]
        notes.append(
            f"{total - known:,} of {counted(total, 'come-back')} {plural(total - known, 'has', 'have')} no known cost "
            f"({', '.join(why)})"
            + (": in the number of come-backs and not in the cost, which is that much too low." if known
               else ", so there is no cost.")
        )
    unbilled = int(table["unbilled"].sum())
    if unbilled:
        notes.append(
            f"{counted(unbilled, 'index job does', 'index jobs do')} not say who paid; their own cost is taken as not "
            "borne as goodwill."
        )
    twice = int(table["twice"].sum())
    if twice:
        notes.append(
            f"Goodwill jobs that were come-backs themselves stand twice in the sum, as a come-back and before one: "
            f"{twice / 100:,.2f} {currency}".rstrip()
            + "."
        )
    return notes


def _one_or_many(words: str, number: int) -> str:
    one, _, many = words.partition("|")
    return one if number == 1 or not many else many


@dataclass(frozen=True)
class AvoidedCost:
    """Cost of the come-backs that did not happen, with limits, in the currency of the mean; None without data."""

    cost: float | None
    low: float | None
    high: float | None


def avoided_cost(
    *,
    avoided: float,
    low: float,
    high: float,
    mean: float | None,
    mean_low: float | None,
    mean_high: float | None,
) -> AvoidedCost:
    """Say what the come-backs would have cost that an action avoided: their number times the mean cost of one.

    `avoided` with `low`, `high`: the number avoided and its interval; negative where more came back instead. `mean`
    with `mean_low`, `mean_high`: the mean cost of one and its interval at the same level, as `costs` gives them for the
    same kind of come-back; None is no data. The limits are recovered from both intervals (Zou and Donner 2008), each
    taken on the side on which it moves the product, as if the two were estimated from different come-backs.

    Raises `RequestError` for an interval that does not hold its estimate, or a mean below 0.

    >>> avoided_cost(avoided=12.0, low=3.0, high=21.0, mean=150.0, mean_low=130.0, mean_high=175.0)
    AvoidedCost(cost=1800.0, low=428.83, high=3182.93)
    """
    if mean is None or mean_low is None or mean_high is None or isnan(mean + mean_low + mean_high):
        return AvoidedCost(None, None, None)
    for name, value, least, most in (("avoided", avoided, low, high), ("mean", mean, mean_low, mean_high)):
        if not all(map(is_number, (value, least, most))) or not least <= value <= most:
            raise RequestError(f"avoided_cost: {name} {value!r} must lie within its interval {least!r} to {most!r}.")
    if mean < 0:
        raise RequestError(f"avoided_cost: a mean cost is 0 or more: {mean!r}.")
    cost = avoided * mean
    # More is lost or won with a higher mean, by the sign of what was avoided.
    cheaper, dearer = mean - mean_low, mean_high - mean
    down, up = (cheaper, dearer) if avoided >= 0 else (dearer, cheaper)
    return AvoidedCost(
        round(cost, 2),
        round(cost - hypot(mean * (avoided - low), avoided * down), 2),
        round(cost + hypot(mean * (high - avoided), avoided * up), 2),
    )
