"""Which units hold half of the returns, and whether chance alone would gather as many on as few."""

from typing import TYPE_CHECKING

from rqa.answers.comebacks.unit_counts import asked_units, unit_notes
from rqa.answers.comebacks.unit_lists import worst_share
from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Months, Snapshot, Where, is_number
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, percent, plural

if TYPE_CHECKING:
    pass

QUESTION = "units_holding"
ALL = 2**31


class UnitsHolding(Answer):
    """Units that hold a part of the returns: unit_id, returns, so_far, share, first_closed_on, last_return_on."""

    question = "Units that hold the returns"
    needs = SEEN
    apart = ("share",)
    lists = CaseList(
        "listed_unit_returns", {"returns": Count()}, rows=COMEBACKS, keys={"unit_id": "of_unit"}, returned="returns",
        of_rows=("unit_id",),
    )


def units_holding(
    snapshot: Snapshot, part: float = 0.5, *, upto: int = 365, where: Where | None = None, months: Months | None = None,
    index_disposition: str = "repaired",
) -> UnitsHolding:
    """List the fewest units that together hold a part of all returns, those with the most first.

    `part` is a share of the returns, above 0 up to 1. Units and ages are those of `recurrences`; `months` are those of
    a unit's first repair. Columns: unit_id, returns (up to age `upto`), so_far (returns of this unit and those above
    it), share (of all returns), first_closed_on, last_return_on. A note says what share the same number of units would
    hold by chance alone.

    >>> r = depot.returns.units_holding()
    >>> r.table["share"][-1] >= 0.5
    True
    """
    import polars as pl

    if not is_number(part) or not 0 < part <= 1:
        raise RequestError(f"{QUESTION}: part is a share of the returns, above 0 up to 1, such as 0.5: {part!r}.")
    units = asked_units(
        QUESTION, snapshot, by=(), where=where, months=months, upto=upto, index_disposition=index_disposition
    )
    asked = units.asked
    table = counts(
        snapshot.store, "most_returns", where=asked.where, months=asked.months,
        values={**units.values, "min_cases": 1, "limit": ALL},
    )
    total = sum(table["returns"].to_list())
    before = pl.col("returns").cum_sum() - pl.col("returns")
    made = table.filter(before < part * total).with_columns(pl.col("returns").cum_sum().alias("so_far")).select(
        "unit_id", "returns", "so_far", (pl.col("so_far") / max(total, 1)).round(6).alias("share"), "first_closed_on",
        "last_return_on",
    )
    settings = {
        "part": part, "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
    }
    notes = unit_notes(snapshot)
    every = counts(
        snapshot.store, "returns_per_unit", where=asked.where, months=asked.months, values=units.values
    )
    many = sum(every["units"].to_list())
    if made.height:
        luck = worst_share(
            snapshot, worst=(made.height / many,), upto=upto, where=where, months=months,
            index_disposition=index_disposition,
        ).table["by_luck"][0]
        notes.append(
            f"{counted(made.height, 'unit')} of {many:,} {plural(made.height, 'holds', 'hold')} "
            f"{percent(made['share'][-1])} of {counted(total, 'return')}; by chance alone so many units would hold "
            f"{percent(luck)}."
        )
    return UnitsHolding(made, settings, tuple(notes))
