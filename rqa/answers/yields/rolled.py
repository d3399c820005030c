"""How many jobs would pass every step of a procedure first time: the product of its steps' yields."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import CHECKS, CaseList, Count, marked
from rqa.answers.core.job_clusters import by_job_note, effects_of_groups, groups_of, said_of
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import chosen, dated, first_attempts
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import counted, plural

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

QUESTION = "rolled_yield"
GROUPINGS = ("procedure", "month", *(name for name in JOB_NAMES if name != "procedure"))


class RolledYield(Answer):
    """Rolled throughput yield: steps, yield, normalised_yield, low, high, normalised_low, normalised_high."""

    question = "Rolled yield"
    needs = ("checks",)
    lists = CaseList(
        "listed_attempts", {"checks": Count(("exposure",)), **marked("passed", "failed")}, rows=CHECKS
    )


def rolled_yield(
    snapshot: Snapshot,
    by: By = ("procedure",),
    *,
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> RolledYield:
    """Say what share of jobs would go through a procedure without one failed check, if its steps were independent.

    `by` takes procedure with any of month, site, model, technician, billing; procedure may be left out when `where`
    names exactly one. Columns: steps (with a checked first attempt), yield (the product of their first-pass yields),
    normalised_yield (its k-th root, k = steps), low, high (of the product), normalised_low, normalised_high (of the
    root). Steps that were never checked are not in
    the product; the notes say how many. A group with no checked step has no data.

    Once any procedure is declared (table procedures), only declared steps enter a product, and a procedure with no
    declared step drops out: it has no row. The notes say how many checked first attempts that leaves out.

    >>> depot.yields.rolled().table.select("procedure", "steps", "yield").row(0)
    ('battery', 16, 0.701258)

    Of ten batteries seven go through all of their sixteen checked steps at the first attempt.
    """
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    if "procedure" not in asked.by and len(asked.where.get("procedure", ())) != 1:
        raise RequestError(
            f"{QUESTION}: steps multiply within one procedure; put procedure into by=, or one into where=."
        )
    check_values(snapshot.store, QUESTION, asked.where)
    by_step = Scope((*asked.by, "step"), asked.where, asked.months)
    _, measure = chosen(QUESTION, snapshot, by_step)
    table, _ = dated(first_attempts(snapshot, by_step, measure), by_step)
    table, foreign = _own_steps(snapshot, table, asked)
    groups = list(dict.fromkeys(groups_of(table, asked.by)))
    effects = effects_of_groups(snapshot, groups, asked, log="steps", level=level)
    settings = {
        "as_of": snapshot.day, **asked.settings(), "level": level, "method": "score", **said_of(effects),
    }
    notes = list(snapshot.notes)
    unchecked = table.filter(table["exposures"] == 0).height
    if unchecked:
        notes.append(
            f"{counted(unchecked, 'step')} of the groups shown {plural(unchecked, 'was', 'were')} never checked: not "
            "in the product."
        )
    if foreign:
        notes.append(
            f"{counted(foreign, 'checked first attempt was', 'checked first attempts were')} at steps that their "
            "procedure does not name, or of jobs that are not in the store: not in the product."
        )
    notes.append(
        "The product takes steps as independent; the clean-job share is counted on jobs and needs no such belief."
    )
    notes += by_job_note(effects)
    return RolledYield(_products(table, asked.by, level, effects), settings, tuple(notes))


def _own_steps(snapshot: Snapshot, table: "pl.DataFrame", asked: Scope) -> "tuple[pl.DataFrame, int]":
    """Only the steps that a procedure is declared to have, if any is declared; and how many checks that leaves out.

    A misspelt step met once would otherwise put a factor of no certainty into the product.
    """
    import polars as pl

    declared = counts(snapshot.store, "procedure_steps")
    if declared.is_empty():
        return table, 0
    if "procedure" in asked.by:
        own = table.join(declared, on=["procedure", "step"], how="semi", maintain_order="left")
    else:
        names = declared.filter(pl.col("procedure").is_in(list(asked.where["procedure"])))
        own = table.join(names, on="step", how="semi", maintain_order="left")
    return own, int(table["exposures"].sum()) - int(own["exposures"].sum())


def _products(
    table: "pl.DataFrame", by: Sequence[str], level: float, effects: "NDArray[np.float64]"
) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import product_interval

    rows: list[dict[str, object]] = []
    names = ("yield", "normalised_yield", "low", "high", "normalised_low", "normalised_high")
    ends: dict[str, list[float]] = {name: [] for name in names}
    groups = table.partition_by(list(by), maintain_order=True) if by else [table] * (table.height > 0)
    for group, effect in zip(groups, effects.tolist(), strict=True):
        checked = group.filter(pl.col("exposures") > 0)
        rows.append({**{name: group[name][0] for name in by}, "steps": checked.height})
        if checked.height:
            r = product_interval(
                successes=checked["passed"].to_numpy(),
                trials=checked["exposures"].to_numpy(),
                level=level,
                method="score",
                design_effect=effect,
            )
            found = tuple(float(end) for end in (r.estimate, r.root, r.low, r.high, r.root_low, r.root_high))
        else:
            found = (float("nan"),) * len(names)
        for name, value in zip(ends, found, strict=True):
            ends[name].append(value)
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        **{name: table.schema[name] for name in by},
        "steps": pl.Int64,
    }
    made = pl.DataFrame(rows, schema=schema)
    return made.with_columns(rounded(values).alias(name) for name, values in ends.items())
