"""Come-backs whose fault no test covers, or none was run for: the gap in the diagnostics, and what it costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rqa.answers.comebacks.cost_parts import RATE, uncounted_notes
from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count, marked
from rqa.answers.core.follow_up_counts import WHOLE, check_index_disposition, days_asked
from rqa.answers.core.ground_list import FOUND
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.core.told_sites import telling_scope
from rqa.answers.tests.covered_tests import NONE_NAMED, coverage
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "coverage_gap"
GROUPINGS = (*WHOLE, "subsystem")
"""month, week: those of the index job's closing; subsystem: the one found at fault on return."""
FATES = {
    "uncovered": "no test covers it", "not_run": "not run", "not_passed": "not passed", "escaped": "escaped",
}


@dataclass(frozen=True, eq=False, repr=False)
class CoverageGap(Answer):
    """Come-backs that no test covers: returned, uncovered, not_run, not_passed, escaped, share, low, high, mean_cost,
    cost.

    `whole` is one row over all: returned, uncovered, not_run, not_passed, escaped, not_known, share, low, high.
    """

    whole: "pl.DataFrame | None" = None

    question = "Come-backs that no test covers"
    in_table_only = ("mean_cost",)
    needs = ("tests", "covered_tests", *FOUND)
    lists = CaseList(
        "listed_coverage", {"returned": Count(("known",)), **marked(*FATES)}, rows=COMEBACKS,
        keys={"subsystem": "subsystem"},
    )


def coverage_gap(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = ("subsystem",),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> CoverageGap:
    """Say what share of come-backs had a fault that no test covers, by what was found at fault.

    `by` takes month, week, site, model, procedure, technician, billing, subsystem (found on return), `where` the same
    but month, week and subsystem. Columns: returned (matured jobs that came back within `window` days with a known
    fault), uncovered (no row of the table `tests` covers it), not_run (tests cover it, none was run), not_passed (one
    was run, but not all last runs had passed), escaped (they had); share = uncovered of this row / returned of all rows
    with its Wilson interval low, high; mean_cost (of a come-back on that subsystem whose cost is known), cost
    (uncovered times that), null where no cost is known or the row is not one subsystem. Most uncovered come-backs
    first, then the costliest.

    Where the table `tests` names no test that was run it is not known what they cover: there is no data.
    `whole` holds the same of all rows together, with `not_known`: come-backs in which nothing was found or written
    down.

    >>> depot.tests.coverage_gap().table.select("subsystem", "returned", "uncovered").row(0)
    ('case', 13, 13)

    13 units came back with a faulty case, which no test of theirs covers.
    """
    import polars as pl

    check_level(QUESTION, level)
    check_index_disposition(QUESTION, index_disposition)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    if "subsystem" in asked.where:
        from rqa.errors import RequestError

        raise RequestError(f"{QUESTION}: subsystem is what was found, a grouping; it is no filter.")
    asked = telling_scope(snapshot, asked, "found", "tested", what="which tests were run for what was then found")
    plain = tuple(n for n in asked.by if n != "subsystem")
    values = {"window": days_asked(QUESTION, "window", window), "as_of": snapshot.day, "disposition": index_disposition}
    found = kept_counts(snapshot, "escapes_coverage", replace(asked, by=plain), values)
    not_known = int(found.filter(pl.col("way") == "not known")["returned"].sum())
    known = found.filter(pl.col("way") != "not known")
    sums = [pl.col("returned").sum()]
    sums += [pl.col("returned").filter(pl.col("way") == way).sum().alias(name) for name, way in FATES.items()]
    table = known.group_by(asked.by).agg(sums) if asked.by else known.select(sums)
    whole = known.select(*sums, pl.lit(not_known, dtype=pl.Int64).alias("not_known"))
    table = table.with_columns(pl.lit(int(known["returned"].sum()), dtype=pl.Int64).alias("of"))
    table = with_shares(table, part="uncovered", whole="of", share="share", level=level)
    table, uncounted = _priced(
        snapshot, table, asked.by, where=asked.where, window=window, index_disposition=index_disposition
    )
    made = table.sort(
        "uncovered", "cost", "returned", *asked.by, descending=[True, True, True, *(False for _ in asked.by)],
        nulls_last=True,
    ).select(
        *asked.by, "returned", *FATES, "share", "low", "high", "mean_cost", "cost"
    )
    settings = {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
        "level": level, "method": "wilson", "currency": snapshot.store.about.get("currency", ""),
    }
    share = with_shares(whole, part="uncovered", whole="returned", share="share", level=level)
    if not coverage(snapshot).any_named:
        made, share = _untold(made), _untold(share)
    notes = (*snapshot.notes, *asked.left_out, *_notes(snapshot, asked, whole, uncounted))
    return CoverageGap(made, settings, notes, whole=share)


def _untold(table: "pl.DataFrame") -> "pl.DataFrame":
    """The table without what hangs on what tests cover, where no test that was run is named: no data, and never 0."""
    import polars as pl

    hang = [name for name in (*FATES, "share", "low", "high", "cost") if name in table.columns]
    return table.with_columns(pl.lit(None, dtype=table.schema[name]).alias(name) for name in hang)


def _priced(
    snapshot: Snapshot,
    table: "pl.DataFrame",
    by: tuple[str, ...],
    *,
    where: Mapping[str, Sequence[str]],
    window: int,
    index_disposition: str,
) -> "tuple[pl.DataFrame, list[str]]":
    """The table with what a come-back on the row's subsystem costs, the uncovered ones with it; what is not in it."""
    import polars as pl

    if "subsystem" not in by:
        nothing = pl.lit(None, dtype=pl.Float64)
        return table.with_columns(nothing.alias("mean_cost"), nothing.alias("cost")), []
    kept = {name: values for name, values in where.items() if name != "technician"}
    rate = float(snapshot.store.about.get(RATE, 0))
    all_paid = counts(
        snapshot.store, "comeback_costs", by=("found",), where=kept,
        values={"window": window, "as_of": snapshot.day, "disposition": index_disposition, "rate": rate},
    )
    paid = all_paid.filter(pl.col("known") > 0)
    prices = paid.select(
        pl.col("found").alias("subsystem"), (pl.col("cents") / pl.col("known") / 100).round(2).alias("mean_cost")
    )
    priced = table.join(prices, on="subsystem", how="left", maintain_order="left")
    made = priced.with_columns((pl.col("mean_cost") * pl.col("uncovered")).round(2).alias("cost"))
    return made, uncounted_notes(
        all_paid.filter(pl.col("found").is_in(table["subsystem"].implode())), rate, of=" of all months"
    )


def _notes(snapshot: Snapshot, asked: Scope, whole: "pl.DataFrame", uncounted: list[str]) -> list[str]:
    from rqa.words import count, percent

    notes = []
    row = whole.row(0, named=True)
    if row["returned"] and coverage(snapshot).any_named:
        notes.append(
            f"No test covers what was found in {count(row['uncovered'])} of {counted(row['returned'], 'come-back')} "
            f"with a known fault ({percent(row['uncovered'] / row['returned'])})."
        )
    if row["not_known"]:
        notes.append(
            f"{counted(row['not_known'], 'come-back')} found nothing, or nobody wrote it down: in none of these."
        )
    if not coverage(snapshot).any_named:
        notes.append(f"{NONE_NAMED}.")
    notes += uncounted
    if "subsystem" in asked.by:
        kept = " that the filters leave" if set(asked.where) - {"technician"} else ""
        notes.append(
            f"mean_cost is that of all come-backs{kept} with this found, of all months and people; cost = uncovered "
            "times that."
        )
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
