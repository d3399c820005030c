"""Which units come back again and again, whether chance explains it, and how many of all returns the worst hold."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from rqa.answers.comebacks.unit_counts import UnitRequest, asked_units, unit_counts, unit_notes
from rqa.answers.core.case_lists import COMEBACKS, UNITS, CaseList, Count
from rqa.answers.core.follow_up_counts import group_numbers
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import comebacks_seen
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import By, Months, Snapshot, Where, is_number, whole_number
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

CHRONIC, WORST = "chronic_units", "worst_share"
FALSE = 0.05
"""Share of a list of chronic units that chance alone puts there, on average."""


class ChronicUnits(Answer):
    """Units that came back most often: unit_id, returns, expected, by_luck, p_adjusted and days."""

    question = "Units that come back most"
    in_table_only = ("first_closed_on",)
    needs = SEEN
    lists = CaseList(
        "listed_unit_returns", {"returns": Count()}, rows=COMEBACKS, keys={"unit_id": "of_unit"}, returned="returns",
        of_rows=("unit_id",),
    )


class WorstShare(Answer):
    """What the worst units hold: units, returns, worst, share, by_luck."""

    question = "Returns held by the worst units"
    units: ClassVar[Mapping[str, str]] = {"by_luck": SHARE}
    needs = SEEN
    apart = ("worst",)
    lists = CaseList(
        "listed_unit_returns",
        {
            "returns": Count(at={"worst": None}),
            "units": Count(at={"worst": None}, file="listed_units", rows=UNITS),
        },
        rows=COMEBACKS, returned="returns",
    )


def chronic_units(
    snapshot: Snapshot,
    by: By = ("model",),
    *,
    upto: int = 365,
    limit: int = 20,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
) -> ChronicUnits:
    """List the units that came back most often, with the probability that chance alone brings a unit so far.

    Each unit is compared with units of its group (`by`, of its first repair) seen for as long: expected is their mean
    number of returns by that age. Columns: the groups, unit_id, first_closed_on, last_return_on, days (seen, at most
    `upto`), returns, expected, p_value (so many or more, for a unit chosen beforehand), by_luck (how many of all units
    chance would bring so far), p_adjusted (below 0.05: chronic; of such a list one in twenty at most is there by
    chance), chronic. The smallest p_value first; at most `limit` units, all with two returns or more.

    >>> depot.returns.chronic_units().table.select("unit_id", "returns", "by_luck", "chronic").row(0)
    ('M10-008758', 3, 2.58595, False)

    Three returns look like much, but among so many units chance alone brings two or three such.
    """
    import polars as pl

    whole_number(CHRONIC, "limit", limit, 1, of="units")
    units = asked_units(
        CHRONIC, snapshot, by=by, where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    cells = judged_units(snapshot, units)
    chronic = cells.filter((pl.col("p_adjusted") < FALSE) & (pl.col("returns") >= 2))
    listed = chronic if chronic.height else cells.filter(pl.col("returns") >= 2)
    fewest = int(listed["returns"].min() or 2) if chronic.height else 2  # type: ignore[arg-type]
    asked = units.asked
    table = counts(
        snapshot.store, "most_returns", by=asked.by, where=asked.where, months=asked.months,
        values={**units.values, "min_cases": fewest, "limit": 20 * limit},
    )
    made = table.join(cells, on=[*asked.by, "returns", "end_day"], how="left", nulls_equal=True)
    made = made.sort(["p_value", "returns", "unit_id"], descending=[False, True, False]).head(limit)
    made = made.select(
        *asked.by, "unit_id", "first_closed_on", "last_return_on", pl.col("end_day").alias("days"), "returns",
        "expected", "p_value", "by_luck", "p_adjusted", (pl.col("p_adjusted") < FALSE).alias("chronic"),
    )
    found = int(chronic["units"].sum())
    notes = unit_notes(snapshot)
    if comebacks_seen(snapshot):
        notes.append(
            f"{found:,} of {counted(int(cells['units'].sum()), 'unit')} came back more often than chance and their "
            "like explain."
        )
    settings = {
        "upto": upto, "limit": limit, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
        "method": "Poisson; Benjamini-Hochberg",
    }
    return ChronicUnits(made, settings, tuple(notes))


def judged_units(snapshot: Snapshot, units: UnitRequest) -> "pl.DataFrame":
    """Units counted by group, returns and age seen, each count with what was to be expected and its p-values."""
    from rqa.stats import many_returns

    table, expected = _expected(snapshot, units)
    r = many_returns(returns=table["returns"], expected=expected, units=table["units"])
    return table.with_columns(
        rounded(expected.tolist()).alias("expected"),
        *(rounded_p_values(getattr(r, name).tolist()).alias(name) for name in ("p_value", "by_luck", "p_adjusted")),
    )


def _expected(snapshot: Snapshot, units: UnitRequest) -> "tuple[pl.DataFrame, Any]":
    """Counts of units, and the mean returns of their group by the age they were seen to."""
    asked = units.asked
    table = counts(
        snapshot.store, "returns_per_unit", by=asked.by, where=asked.where, months=asked.months, values=units.values
    )
    _, made = unit_counts(snapshot, units)
    _, group = group_numbers(table, asked.by)
    day, expected = table["end_day"].to_numpy(), np.zeros(table.height)
    for g, curve in enumerate(made):
        mean, own = curve.mean(0.95), group == g
        expected[own] = mean.mcf[np.searchsorted(mean.day, day[own])]
    return table, expected


def worst_share(
    snapshot: Snapshot,
    by: By = (),
    *,
    worst: tuple[float, ...] = (0.01, 0.05, 0.1),
    upto: int = 365,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
) -> WorstShare:
    """Say what share of all returns the worst units hold, beside what chance alone would give them.

    Units, groups and ages as of `recurrences`. A row a group and fraction of its units, the worst first: units,
    returns, worst (the fraction), share (of the returns they hold) and by_luck, the share they would hold if each unit
    came back by chance alone at the mean rate of its group and age. Without returns both are null.

    >>> depot.returns.worst_share().table.select("worst", "share", "by_luck").rows()
    [(0.01, 0.114625, 0.110155), (0.05, 0.377361, 0.358532), (0.1, 0.633656, 0.614827)]

    The worst twentieth of the units makes 38 % of the returns, chance alone would make it 36 %: there are no bad
    units.
    """
    import polars as pl

    from rqa.stats import worst_units

    listed = (worst,) if isinstance(worst, float | int | str) else tuple(worst)
    parts = np.asarray([part if is_number(part) else np.nan for part in listed], dtype=np.float64)
    if not parts.size or not ((parts > 0) & (parts <= 1)).all():
        raise RequestError(f"{WORST}: worst names fractions of the units above 0 and up to 1, such as 0.01: {worst!r}.")
    units = asked_units(
        WORST, snapshot, by=by, where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    asked = units.asked
    table, expected = _expected(snapshot, units)
    groups, group = group_numbers(table, asked.by)
    rows = []
    for g in range(groups.height if asked.by else min(table.height, 1)):
        own = group == g
        r = worst_units(
            returns=table["returns"].to_numpy()[own], units=table["units"].to_numpy()[own], fraction=parts,
            expected=expected[own],
        )
        rows.append(r)
    place = np.repeat(np.arange(len(rows)), parts.size)
    made = pl.DataFrame([
        *(groups[name].gather(place) for name in asked.by),
        pl.Series("units", [r.units for r in rows for _ in parts], dtype=pl.Int64),
        pl.Series("returns", [r.returns for r in rows for _ in parts], dtype=pl.Int64),
        rounded([p for _ in rows for p in parts.tolist()]).alias("worst"),
        rounded([s for r in rows for s in r.share.tolist()]).alias("share"),
        rounded([s for r in rows for s in r.by_luck.tolist()]).alias("by_luck"),
    ])
    settings = {
        "worst": tuple(parts.tolist()), "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition,
        **asked.settings(), "method": "Lorenz curve; Poisson counts",
    }
    return WorstShare(made, settings, tuple(unit_notes(snapshot)))
