"""What actions spared: the come-backs that did not happen since their start, and what these would have cost."""

from typing import Any

from rqa.answers.comebacks.costs import avoided_cost, costs
from rqa.answers.comebacks.counted import counted_comebacks
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot
from rqa.answers.improve.action_judged import TOLD
from rqa.answers.improve.verdicts import verdicts

SUM = (
    "A sum spared is an estimate beside its limits, not money in the till; limits that hold 0 say that what was spared "
    "is not known well."
)
MONEY = ("mean_cost", "cost", "cost_low", "cost_high")
COUNTS = ("avoided", "avoided_low", "avoided_high")


class ActionSavings(Answer):
    """What actions spared: action_id, what, verdict, jobs_after, avoided, avoided_low, avoided_high, mean_cost, cost,
    cost_low, cost_high."""

    question = "Come-backs and cost spared by actions"
    in_table_only = ("mean_cost",)
    needs = ("actions", *SEEN)
    lists = "Come-backs that were spared did not happen. Ask verdicts() for the jobs before and after an action."


def action_savings(snapshot: Snapshot, window: int = 30, *, level: float = 0.95) -> ActionSavings:
    """Say how many come-backs each action has spared so far, with limits, and what they would have cost.

    Nothing is said of an action before its verdict is "worked" or "made it worse": until then the rates before and
    after are no ground for a number, and least of all for money. Avoided are jobs_after (matured jobs of the scope
    opened since the start) times the fall of the rate: that of the scope less that of the comparable work beside it
    where there is such (`net` of `verdicts`), else that of the scope alone. Negative: more came back than before. cost
    is that number times the mean cost of a come-back on own work (classes repeat and workmanship, all months and
    places; of any class where it is not known which those are), in the workspace's currency; the limits carry the
    chance variation of both.

    Columns: action_id, what, verdict, jobs_after, avoided, avoided_low, avoided_high, mean_cost, cost, cost_low,
    cost_high; null but for the first four without such a verdict. A number whose limits hold 0 says that what was
    spared is not known well.

    >>> depot.actions.savings().table.select("action_id", "verdict", "cost").row(0)
    ('ACT-1', 'too early', None)

    While it is too early for a verdict, nothing is said to be saved.
    """
    import polars as pl

    judged = verdicts(snapshot, window=window, level=level)
    each = costs(snapshot, by=(), where=counted_comebacks(snapshot, window).where, window=window, level=level)
    mean = each.table.row(0, named=True) if each.table.height else dict.fromkeys(("mean", "low", "high"))
    rows = [_row(r, mean) for r in judged.table.iter_rows(named=True)]
    texts = [pl.Series(name, [r[name] for r in rows], dtype=pl.String) for name in ("action_id", "what", "verdict")]
    numbers = [rounded(_filled(rows, name)).alias(name) for name in (*COUNTS, *MONEY)]
    table = pl.DataFrame([*texts, pl.Series("jobs_after", [r["jobs_after"] for r in rows], dtype=pl.Int64), *numbers])
    settings = {
        "window": window, "as_of": snapshot.day, "level": level, "currency": snapshot.store.about.get("currency", ""),
    }
    known = any(r.get("avoided") is not None for r in rows)
    notes = [SUM] if known else []
    waiting = [f"{r['action_id']} ({r['verdict']})" for r in rows if r["verdict"] not in TOLD]
    if waiting:
        notes.append(f"What these have spared is not known: {', '.join(waiting)}. It is said once a verdict is told.")
    if known:
        notes += each.notes
    return ActionSavings(table, settings, tuple(notes))


def _row(r: dict[str, Any], mean: dict[str, Any]) -> dict[str, Any]:
    told = {name: r[name] for name in ("action_id", "what", "verdict", "jobs_after")}
    names = ("net", "net_low", "net_high") if r["net"] is not None else ("difference", "low", "high")
    change, low, high = (r[name] for name in names)
    if r["verdict"] not in TOLD or not r["jobs_after"] or change is None or low is None or high is None:
        return told
    # What falls is spared: the ends of the interval change places.
    avoided, least, most = (-r["jobs_after"] * share for share in (change, high, low))
    spared = avoided_cost(
        avoided=avoided, low=least, high=most, mean=mean["mean"], mean_low=mean["low"], mean_high=mean["high"]
    )
    return told | {
        "avoided": avoided, "avoided_low": least, "avoided_high": most, "mean_cost": mean["mean"],
        "cost": spared.cost, "cost_low": spared.low, "cost_high": spared.high,
    }


def _filled(rows: list[dict[str, Any]], name: str) -> list[float]:
    return [float("nan") if r.get(name) is None else float(r[name]) for r in rows]
