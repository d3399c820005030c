"""What the come-backs attributed to each step cost, costliest first: where the money goes within the work."""

from typing import Any

from rqa.answers.core.ground_list import LAID
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Months, Snapshot, Where
from rqa.answers.steps.risk import JOBS, step_risk

JOINED = " + "


class StepCosts(Answer):
    """What come-backs attributed to steps cost: step, attributed, cost, low, high, share, cumulative."""

    question = "Cost of come-backs by step"
    needs = LAID
    lists = "What is attributed to a step is a share of many come-backs. Ask steps.attribution() for the jobs."


def step_costs(
    snapshot: Snapshot, where: Where | None = None, *, months: Months | None = None, window: int = 30,
    level: float = 0.95,
) -> StepCosts:
    """Say what the come-backs attributed to steps cost, and which steps make up most of it.

    A row a step, or steps that the logs cannot tell apart (joined by "+"), the costliest first: attributed (come-backs
    of class repeat and workmanship attributed to them), cost in the workspace's currency with low, high, share of all
    rows, cumulative. cost is that of `step_risk` for a thousand jobs, for as many jobs as did the step. Come-backs
    without a known cost have the mean of those with one; steps to which nothing is laid have no row.

    >>> depot.steps.costs().table.select("step", "cost", "share").row(0)
    ('release display cable + reseat display cable', 7976.24, 0.346296)

    Over a third of the cost lies with the display cable.
    """
    import polars as pl

    risk = step_risk(snapshot, where=where, months=months, window=window, level=level)
    laid = risk.table.filter((pl.col("attributed") > 0) & pl.col("cost_per_1000").is_not_null())
    rows = {names: row for row in laid.iter_rows(named=True) for names in [together(row)]}
    made = pl.DataFrame(
        {
            "step": pl.Series([JOINED.join(names) for names in rows], dtype=pl.String),
            "attributed": rounded(r["attributed"] for r in rows.values()),
            **{
                name: rounded(r[of] * r["exposures"] / JOBS for r in rows.values()).round(2)
                for name, of in (("cost", "cost_per_1000"), ("low", "cost_low"), ("high", "cost_high"))
            },
        }
    ).sort("cost", "step", descending=[True, False])
    whole = made["cost"].sum()
    shares = [cost / whole if whole else float("nan") for cost in made["cost"]]
    table = made.with_columns(rounded(shares).alias("share")).with_columns(
        pl.col("share").cum_sum().alias("cumulative")
    )
    settings = {name: risk.settings[name] for name in ("window", "as_of", "where", "months", "currency", "level")}
    return StepCosts(table, settings, risk.notes)


def together(row: dict[str, Any]) -> tuple[str, ...]:
    """A step of `step_risk` with those that share its number, in the order of names."""
    return tuple(sorted([row["step"], *(row["shared_with"].split(", ") if row["shared_with"] else [])]))
