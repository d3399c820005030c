"""Come-backs of which a maker or supplier may bear the cost, with what is missing to claim it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import OWN_JOBS, RATE
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Months, Snapshot, Where, check_values, scope
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "claims"


@dataclass(frozen=True, eq=False, repr=False)
class Claims(Answer):
    """Come-backs to look at for a claim: ground, job_id, unit_id, site, model, closed_on, return_job_id, opened_on,
    days_out, class, part_no, lot, part_cost, cost.
    """

    question = "Come-backs that may be claimed"
    needs = (*SEEN, "billing", "parts")
    lists = OWN_JOBS
    nothing_found = "No come-back is billed as warranty, and none had a part fitted again."
    in_table_only = ("closed_on", "return_job_id", "class", "part_cost")


def claims(
    snapshot: Snapshot, window: int = 30, *, where: Where | None = None, months: Months | None = None,
    index_disposition: str = "repaired",
) -> Claims:
    """List the come-backs whose cost a maker or a supplier may bear, with the part, its lot and what they cost.

    `window`: days within which a return counts. `months` are those of the return. `where`: site, model, procedure,
    technician, billing.

    A row a come-back and ground. "unit under warranty": the return is billed as warranty, and whoever gave it may bear
    the cost. "part fitted again": the return fitted a part of the same number as the job before, so the first may have
    failed within its supplier's warranty. part_no and lot are those of the first part, part_cost that of the one which
    took its place. cost is that of the whole come-back in the workspace's currency, null where it is not known.

    Whether a claim is allowed, and until when, stands in the contracts: no table holds them. What is missing to claim
    (billing, parts, lots, costs) stands in the notes.

    >>> r = depot.returns.claims()
    >>> sorted(set(r.table["ground"]))
    ['part fitted again', 'unit under warranty']
    """
    import polars as pl

    days_asked(QUESTION, "window", window)
    check_index_disposition(QUESTION, index_disposition)
    asked = scope(QUESTION, by=(), where=where, months=months, allowed=("month", *JOB_NAMES))
    check_values(snapshot.store, QUESTION, asked.where)
    rate = float(snapshot.store.about.get(RATE, 0))
    values = {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
    table = counts(snapshot.store, "claimable", where=asked.where, months=asked.months, values=values)
    costs = counts(snapshot.store, "listed_costs", values={**values, "rate": rate})
    made = table.join(
        costs.select("job_id", (pl.col("cents") / 100).alias("cost")), on="job_id", how="left", maintain_order="left"
    )
    shown = made.filter(pl.col("ground").is_not_null()).rename({"at_site": "site", "of_model": "model"}).sort(
        "ground", "opened_on", "job_id", "part_no", "lot", descending=[True, False, False, False, False]
    )
    notes = _notes(made, snapshot.store.about.get("currency", "")) if made.height else []
    settings = {
        "window": window, "index_disposition": index_disposition, "where": dict(asked.where), "months": asked.months,
        "as_of": snapshot.day,
    }
    shown = shown.select(
        "ground", "job_id", "unit_id", "site", "model", "closed_on", "return_job_id", "opened_on", "days_out", "class",
        "part_no", "lot", "part_cost", "cost",
    )
    return Claims(shown, settings, (*snapshot.notes, *notes))


def _notes(made: "pl.DataFrame", currency: str) -> list[str]:
    import polars as pl

    each = made.unique("job_id", maintain_order=True)
    named = made.filter(pl.col("ground").is_not_null())
    jobs = named.unique("job_id", maintain_order=True)
    known = jobs.filter(pl.col("cost").is_not_null())
    notes = [
        f"{counted(jobs.height, 'come-back')} of {each.height:,} to look at; {known.height:,} of them with a known "
        f"cost, {known['cost'].sum():,.2f} {currency} in all.",
        "A come-back with several grounds, or parts, stands under each of them.",
        "Whether a claim is allowed stands in the contracts, of which the store holds none.",
    ]
    unbilled, unlisted = each.height - int(each["billed"].sum()), each.height - int(each["listed"].sum())
    lotless = named.filter(pl.col("part_no").is_not_null() & pl.col("lot").is_null()).height
    if unbilled:
        notes.append(f"Of {counted(unbilled, 'come-back')} billing is not given, so a warranty cannot be told.")
    if unlisted:
        notes.append(f"Of {counted(unlisted, 'come-back')} the parts list of the job before is empty.")
    if lotless:
        notes.append(f"Of {counted(lotless, 'part')} fitted again the lot is not given, which suppliers ask for.")
    return notes
