"""How many returns has a unit had by each age, on average; whether units of two groups differ; whether age matters."""

import numpy as np

from rqa.answers.comebacks.unit_counts import UnitCounts, asked_units, unit_counts, unit_notes
from rqa.answers.core.case_lists import COMEBACKS, UNITS, CaseList, Count
from rqa.answers.core.follow_up_counts import column
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level
from rqa.errors import RequestError
from rqa.words import there_is

RECURRENCES, DIFFERENCE, TRENDS = "recurrences", "recurrence_difference", "return_trends"
CLEAR = 0.05
"""A trend is named when both tests have a p-value below this."""


class Recurrences(Answer):
    """Mean returns of a unit by age: day, at_risk, mcf, se, low, high."""

    question = "Returns of a unit by age"
    needs = SEEN
    lists = CaseList(
        "listed_unit_returns",
        {
            "returns": Count(at={"day": ("age", "=")}),
            "units": Count(at={"day": ("seen_days", ">=")}, file="listed_units", rows=UNITS),
        },
        rows=COMEBACKS, returned="returns",
    )


class RecurrenceDifference(Answer):
    """Mean returns of one group's units less those of another: day, difference, se, low, high."""

    question = "Difference of mean returns"
    needs = SEEN
    lists = "It sets two groups beside each other. Ask returns.recurrences() for the jobs of one."


class ReturnTrends(Answer):
    """Whether units come back more or less often as they age: units, returns, shape, low, high, tests, trend."""

    question = "Trend of returns with age"
    needs = SEEN
    lists = CaseList(
        "listed_unit_returns", {"returns": Count(), "units": Count(file="listed_units", rows=UNITS)},
        rows=COMEBACKS, returned="returns",
    )


def recurrences(
    snapshot: Snapshot,
    by: By = (),
    *,
    upto: int = 365,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Recurrences:
    """Say how many returns a unit has had on average by each age, a unit that returns five times counted five times.

    Age is in days since the unit's first closing as an index job; a unit counts in the group (month, site, model,
    procedure, technician, billing) of that job, is seen until the as-of day or its retirement, and is looked at up to
    age `upto`. A row a group and day from 0 on, as long as any unit is seen: day, at_risk (units seen until then), mcf
    (mean cumulative returns) with Nelson's robust se, low and high; with a single unit these three are null.

    >>> r = depot.returns.recurrences().table.row(-1, named=True)
    >>> r["day"], r["mcf"]
    (365, 0.260765)

    In its first year a unit comes back 0.26 times on average: some of them more than once.
    """
    import polars as pl

    check_level(RECURRENCES, level)
    units = asked_units(
        RECURRENCES, snapshot, by=by, where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    groups, made = unit_counts(snapshot, units)
    rows: dict[str, list[np.ndarray]] = {name: [] for name in ("day", "at_risk", "mcf", "se", "low", "high")}
    lengths = []
    for counted in made:
        mean = counted.mean(level).on_days(np.arange(int(counted.day.max()) + 1))
        seen = mean.at_risk > 0
        for name, parts in rows.items():
            parts.append(getattr(mean, name)[seen])
        lengths.append(int(seen.sum()))
    place = np.repeat(np.arange(len(made)), lengths)
    columns = {n: np.concatenate(p) if p else np.zeros(0, dtype=np.int64) for n, p in rows.items()}
    columns["day"] = columns["day"].astype(np.int64)
    table = pl.DataFrame(
        [*(groups[name].gather(place) for name in units.asked.by), *(column(n, v) for n, v in columns.items())]
    )
    settings = {
        "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition, **units.asked.settings(),
        "level": level, "method": "Nelson, robust variance",
    }
    return Recurrences(table, settings, tuple(unit_notes(snapshot)))


def recurrence_difference(
    snapshot: Snapshot,
    by: str,
    *,
    groups: tuple[str, str],
    upto: int = 365,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> RecurrenceDifference:
    """Say by how many returns a unit the first of two groups is ahead of the second by each age.

    `by` names one grouping, `groups` two of its values. Columns: day (with a return in either), difference = mcf of the
    first less that of the second, se, low, high. The limits hold for one day at a time.

    >>> r = depot.returns.recurrence_difference("site", groups=("Alder", "Birch")).table.row(-1, named=True)
    >>> r["difference"], r["low"], r["high"]
    (0.062715, -0.003728, 0.128223)

    Alder's units came back 0.06 times more each than Birch's, and the limits hold 0: it may be chance.
    """
    from rqa.stats import mean_cumulative_difference

    check_level(DIFFERENCE, level)
    if not isinstance(by, str):
        raise RequestError(f"{DIFFERENCE}: by names one grouping, such as model: {by!r}.")
    pair = tuple(groups)
    if len(pair) != 2 or pair[0] == pair[1]:
        raise RequestError(f"{DIFFERENCE}: groups names two different values of {by}: {groups!r}.")
    units = asked_units(
        DIFFERENCE, snapshot, by=by, where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    there, made = unit_counts(snapshot, units)
    found = dict(zip(map(str, there[by].to_list()), made, strict=True))
    for name in pair:
        if str(name) not in found:
            raise RequestError(f"{DIFFERENCE}: no unit is in {by} {name!r}. {there_is(name, found)}")
    one, two = (found[str(name)].mean(level) for name in pair)
    r = mean_cumulative_difference(one=one, two=two)
    import polars as pl

    table = pl.DataFrame([
        column("day", r.day.astype(np.int64)),
        *(column(name, getattr(r, name)) for name in ("difference", "se", "low", "high")),
    ])
    settings = {
        "groups": tuple(map(str, pair)), "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition,
        **units.asked.settings(), "level": level, "method": "Nelson, robust variance; recovered limits",
    }
    return RecurrenceDifference(table, settings, tuple(unit_notes(snapshot)))


def return_trends(
    snapshot: Snapshot,
    by: By = (),
    *,
    upto: int = 365,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ReturnTrends:
    """Say whether units come back more and more often as they age, or less.

    Ages, groups and observation as of `recurrences`; whole days lie in their middle. Columns: units, returns; shape of
    the power law with low and high (below 1: returns thin out with age, as when bad work and test escapes show early;
    above 1: they grow more frequent, as with wear); goodness_p (small: a power law does not fit); laplace_p and
    mil_hdbk_p, two tests of no trend; trend, "less", "more" or "not clear", named when both tests have a p-value below
    0.05 and agree. Without returns all these are null and trend is "no data".

    Each unit may have a rate of its own. A return that brings another on (a repair that spoils the next) is not allowed
    for; neither is the time in the shop.

    >>> depot.returns.trends().table.select("shape", "low", "high", "trend").row(0)
    (0.607063, 0.54992, 0.66699, 'less')

    A shape below 1: a unit comes back less and less often with time.
    """
    import polars as pl

    check_level(TRENDS, level)
    units = asked_units(
        TRENDS, snapshot, by=by, where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    groups, made = unit_counts(snapshot, units)
    found = [_trend(counted, level) for counted in made]
    table = pl.DataFrame([
        *(groups[name] for name in units.asked.by),
        pl.Series("units", [c.units for c in made], dtype=pl.Int64),
        pl.Series("returns", [c.returns for c in made], dtype=pl.Int64),
        *(
            (rounded_p_values if name.endswith("_p") else rounded)([f[i] for f, _ in found]).alias(name)
            for i, name in enumerate(NUMBERS)
        ),
        pl.Series("trend", [word for _, word in found], dtype=pl.String),
    ])
    settings = {
        "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition, **units.asked.settings(),
        "level": level, "method": "power law, Laplace, MIL-HDBK-189",
    }
    return ReturnTrends(table, settings, tuple(unit_notes(snapshot)))


NUMBERS = ("shape", "low", "high", "goodness_p", "laplace_p", "mil_hdbk_p")


def _trend(counted: UnitCounts, level: float) -> tuple[tuple[float, ...], str]:
    from rqa.stats import laplace_test, mil_hdbk_189_test, power_law_fit

    if not counted.returns:
        return (float("nan"),) * len(NUMBERS), "no data"
    age, end = np.nonzero(counted.returned)
    often = counted.returned[age, end]
    # Units of one end together are one process of that end, which is all that a common shape needs to know of them.
    time, unit = np.repeat(counted.day[age] + 0.5, often), np.repeat(end, often)
    ends = (np.unique(end), counted.day[np.unique(end)] + 1.0)
    fit = power_law_fit(time=time, unit=unit, end=ends, scales="own", level=level)
    tests = [test(time=time, unit=unit, end=ends) for test in (laplace_test, mil_hdbk_189_test)]
    words = {t.trend if t.p_value < CLEAR else "not clear" for t in tests}
    numbers = (fit.shape, fit.shape_low, fit.shape_high, fit.goodness_p, *(t.p_value for t in tests))
    return numbers, words.pop() if len(words) == 1 else "not clear"
