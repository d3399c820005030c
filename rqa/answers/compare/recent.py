"""A comparison with what the same work brings, made over several windows of months: the surest of each group."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.compare.allowances import allowing_for, enough_of, ratio_of
from rqa.answers.compare.comparison import LEAST, MIX, PEOPLE, PLACES, compare, place_of, which_of
from rqa.answers.compare.comparison_findings import stated
from rqa.answers.compare.expected_counts import (
    OUTCOMES,
    columns_of,
    counts_of,
    expected_of,
    matrix,
    set_within_people,
)
from rqa.answers.core.finding import Finding
from rqa.answers.core.needs import with_grounds
from rqa.answers.core.scope import Snapshot, Where
from rqa.answers.core.windows import Span, level_of_each, pieces, surest

if TYPE_CHECKING:
    import polars as pl


def compared_recently(
    snapshot: Snapshot, who: str, outcome: str, windows: Sequence[Span], *, window: int, where: Where | None = None
) -> Iterator[Finding]:
    """Compare each group over nested windows of months, the longest last, and state the surest.

    Cells are counted once for the months that a window has beyond the one before, and added up. How much the checks of
    a job go together, and how much the groups vary as a whole, is taken from the longest window: few jobs tell it
    badly, and what one group is new in would count as the usual spread of all.
    """
    level = level_of_each(windows)
    whole = with_grounds(
        snapshot, compare(snapshot, who, outcome=outcome, window=window, where=where, months=windows[-1], level=level)
    )
    if not whole.stated or len(windows) == 1:
        return surest(windows, [()] * (len(windows) - 1) + [whole.stated])
    kind = (*MIX, *OUTCOMES[outcome].kind)
    named = (who, PEOPLE, *kind) if who in PLACES else (who, *kind)
    found: list[tuple[Finding, ...]] = []
    cells: pl.DataFrame | None = None
    for months in pieces(windows)[:-1]:
        new = counts_of(snapshot, who, outcome, named[1:], where, months, window).table.select(
            *named, *columns_of(outcome)
        )
        cells = new if cells is None else _added(cells, new, named)
        found.append(stated_of_cells(cells, who, outcome, named, whole.settings, level))
    return surest(windows, [*found, whole.stated])


def _added(one: "pl.DataFrame", other: "pl.DataFrame", by: Sequence[str]) -> "pl.DataFrame":
    import polars as pl

    return pl.concat([one, other]).group_by(by, maintain_order=True).agg(pl.col("events", "trials").sum())


def stated_of_cells(
    cells: "pl.DataFrame", who: str, outcome: str, named: Sequence[str], settings: Any, level: float
) -> tuple[Finding, ...]:
    """What the cells of one window state; `settings` are those of the comparison over the longest window."""
    import polars as pl

    from rqa.stats import e_value

    plain = [name for name in named if name != PEOPLE or who == PEOPLE]
    summed = cells.group_by(plain, maintain_order=True).agg(pl.col("events", "trials").sum())
    counted = matrix(summed, who, plain[1:], pl.col("events"), pl.col("trials"), ())
    found, people = expected_of(counted, "stratified"), np.full(counted.known, "", dtype=object)
    if PEOPLE in named[1:] and counted.known > 1:
        found, people = set_within_people(found, counted, cells.select(*named, "events", "trials").rows())
    enough = enough_of(counted, found, LEAST)
    by_job = np.full(counted.known, settings["by_job"])
    p_value = allowing_for(found, settings["spread"], by_job)
    ratio, low, high = ratio_of(found, by_job, level)
    unseen = e_value(estimate=ratio, low=low, high=high)
    numbers = {
        "expected": found.expected, "ratio": ratio, "low": low, "high": high, "z": found.z, "p_value": p_value,
        "p_adjusted": p_value, "e_value": unseen.of_estimate, "e_value_limit": unseen.of_limit,
    }
    made = pl.DataFrame({
        who: pl.Series(list(counted.names[: counted.known]), dtype=pl.String),
        "exposures": found.exposures, "observed": found.observed,
        **{name: pl.Series(np.where(np.isfinite(v), v, np.nan)).fill_nan(None) for name, v in numbers.items()},
        "people": pl.Series(people.tolist(), dtype=pl.String),
    }).filter(pl.Series(enough) & pl.col("expected").is_not_null() & pl.col("z").is_not_null())
    return stated(made, who, outcome, OUTCOMES[outcome], which_of(settings), place_of(settings))
