"""Did it work: each action's come-backs before and after, and on comparable work; a verdict for every month."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from rqa.answers.core.action_scope import check_scope, expected_ratio, read_scope
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.job_lists import one_row
from rqa.answers.core.readable import POINTS
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot, check_level
from rqa.answers.improve.action_judged import EXPECTED, MONTHS_AHEAD, POWER, UNTOLD, ActionJudgement, judge
from rqa.answers.improve.action_lists import COUNTS, KEYS, action_list
from rqa.answers.improve.action_work import BEFORE_DAYS, ActionWork, action_work, first_checks
from rqa.answers.improve.scope_seen import lacking, sites_without
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, listed, percent, plural, there_is

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.core.action_scope import ActionScope

QUESTION = "verdicts"
UNJUDGED = "cannot be judged"
SIDES = ("action_id", "work", "side", "jobs", "returned", "rate", "low", "high")


@dataclass(frozen=True, eq=False, repr=False)
class Verdicts(Answer):
    """Whether actions worked: action_id, what, scope, finding_id, owner, started_on, outcome, jobs_before,
    returned_before, jobs_after, returned_after, under_way, comparable, difference, low, high, ratio, ratio_low,
    ratio_high, comparison, other_before, other_returned_before, other_after, other_returned_after, net, net_low,
    net_high, p_value, expected, jobs_needed, verdict, seen_on, expected_on, warning, checks_before, yield_before,
    checks_after, yield_after, concurrent.

    `sides` holds the plain rates: action_id, work ("in scope", "beside it"), side, jobs, returned, rate, low, high.
    """

    sides: "pl.DataFrame | None" = None

    question = "Did it work"
    units: ClassVar[Mapping[str, str]] = {"difference": POINTS, "net": POINTS}
    shown = ("action_id", "what", "started_on", "verdict", "expected_on", "net", "net_low", "net_high")
    needs = ("actions", *SEEN)

    def listed(self) -> CaseList:
        """The jobs in the scope of an action, before and after its start: of one action at a time."""
        return CaseList("listed_action_jobs", COUNTS, keys=KEYS, returned="returned_after")

    def listed_for(self, row: Mapping[str, object]) -> "tuple[CaseList | str, Mapping[str, object]]":
        """The list of the action named."""
        action = one_row(self, row, "action_id")
        if self.asked_of is None or action["jobs_before"] is None:
            return f"Action {action['action_id']} cannot be judged: {action['warning']}", row
        made = action_list(
            self.asked_of.snapshot, read_scope(action["scope"]), action["started_on"],
            int(str(self.settings["window"])), counts=COUNTS, before_days=BEFORE_DAYS, returned="returned_after",
        )
        return made, {name: value for name, value in row.items() if name != "action_id"}


@dataclass(frozen=True)
class _Row:
    """One action of the store, and what was made of it."""

    action: Mapping[str, Any]
    work: ActionWork | None = None
    judged: ActionJudgement | None = None
    checks: Mapping[str, tuple[int, int]] | None = None
    trouble: str = ""
    verdict: str = UNJUDGED


@asked_once
def verdicts(snapshot: Snapshot, window: int = 30, *, level: float = 0.95) -> Verdicts:
    """Say of each action whether come-backs on the work it was about became fewer, and when that can be known.

    Before are jobs closed in the 365 days before the start, after those opened from the start on; jobs under way at the
    start are neither. Only matured jobs count, and of their come-backs those on own work (repeat, workmanship), with a
    step in the scope those whose fault lies in a subsystem that the step touches. Like is compared with like: site,
    model, procedure, billing. A scope that names a technician, site or model has the same work of the others beside it;
    where that rate is known as well as its own, both must show the change.

    Columns: action_id, what, scope, finding_id, owner, started_on, outcome; before_from (the first day of closing
    counted before the start), jobs_before, returned_before, jobs_after, returned_after, under_way; comparable
    (the jobs of both sides that have their like on the other: the change rests on these), difference (rate after less
    before), low, high; ratio, ratio_low, ratio_high; comparison (what stands beside it, null: nothing),
    other_before, other_returned_before, other_after, other_returned_after, net, net_low, net_high (the difference less
    that of the work beside it); p_value; expected (factor, null: not stated), jobs_needed (after, for the last look);
    verdict, seen_on, expected_on, warning; with a step in the scope its first checks: checks_before, yield_before,
    checks_after, yield_after; concurrent, the ids of the actions that the warning names.

    Verdicts: "worked" and "made it worse"; these two with ", has faded" and ", has passed" where more than half of the
    change is gone again in the months since; "no sign yet"; "too early". "cannot be told" is said where waiting does
    not help (no unit appears twice, say, there was no work before, the site does not write down what was found on
    return, or no log in the scope ever has its steps), "cannot be judged" of a scope that cannot be read. Where most
    come-backs of the depot have no confirmed fault, all count, and `outcome` says so.

    They are judged on month ends, from the start until the planned jobs have matured and at four later looks, with
    bounds that hold over all these looks together (`rqa.stats.spending_bounds`): an action without effect gets "worked"
    or "made it worse" with a chance of at most 1 - level however often it is read. Where the months before vary more
    than their counts would, it takes more to be told; where true rates vary by 15 to 20 % at 200 jobs a month, one
    action in twenty without effect is misjudged, at 800 a month one in ten (tests/bench/verdicts.py). Planned is what
    shows the expected change (a halving where none is stated) with a chance of 80 %, but no more than twelve months of
    work.

    >>> depot.verdicts().table.select("action_id", "verdict").rows()
    [('ACT-1', 'too early'), ('ACT-2', 'too early'), ('ACT-3', 'too early')]

    All three have too few jobs behind them yet for a verdict.
    """
    days_asked(QUESTION, "window", window)
    check_level(QUESTION, level)
    actions = list(counts(snapshot.store, "actions").iter_rows(named=True))
    rows = [_row(snapshot, action, window, level) for action in actions]
    scopes = _scopes(rows, snapshot.day)
    made = [_told(row, _overlaps(snapshot, row, scopes), _amiss(snapshot, row)) for row in rows]
    settings = {"window": window, "as_of": snapshot.day, "level": level, "power": POWER, "before_days": BEFORE_DAYS}
    left_out = dict.fromkeys(said for row in rows if row.work for said in row.work.left_out)
    notes = (*snapshot.notes, *_notes(window, level, made), *left_out)
    return Verdicts(_table(made), settings, notes, sides=_sides(rows, level))


def action_named(snapshot: Snapshot, question: str, action: str) -> dict[str, Any]:
    """An action's row, or `RequestError` naming those there are."""
    found = {row["action_id"]: row for row in counts(snapshot.store, "actions").iter_rows(named=True)}
    if action not in found:
        there = there_is(action, found) if found else "Add one with: rqa action WORKSPACE --what …"
        raise RequestError(f"{question}: there is no action {action!r}. {there}")
    return found[action]


def last_begun(snapshot: Snapshot) -> str | None:
    """The action begun last up to now among those whose scope the store has; None where there is none."""
    begun = [
        row for row in counts(snapshot.store, "actions").iter_rows(named=True) if row["started_on"] <= snapshot.day
    ]
    for row in sorted(begun, key=lambda row: (row["started_on"], row["action_id"]), reverse=True):
        with suppress(RequestError):
            check_scope(snapshot.store, read_scope(row["scope"]))
            return str(row["action_id"])
    return None


def _row(snapshot: Snapshot, action: Mapping[str, Any], window: int, level: float) -> _Row:
    try:
        scope = read_scope(action["scope"], of=action["action_id"])
        check_scope(snapshot.store, scope, of=action["action_id"])
    except RequestError as error:
        return _Row(action, trouble=str(error))
    lack = lacking(snapshot, scope, window)
    if lack is not None:
        return _Row(action, trouble=str(lack), verdict=UNTOLD)
    work = action_work(snapshot, scope, action["started_on"], window)
    if work.untold:
        return _Row(action, trouble=" ".join(work.left_out), verdict=UNTOLD)
    judged = judge(
        work.own, work.beside, first_on=work.first_on, started_on=action["started_on"], today=snapshot.day,
        window=window, level=level, expected=expected_ratio(action["expected_change"]),
    )
    checks = first_checks(snapshot, scope, action["started_on"]) if scope.steps else None
    return _Row(action, work, judged, checks)


def _amiss(snapshot: Snapshot, row: _Row) -> list[str]:
    """What is odd in an action: its days lie before all data, or some site never logs its steps."""
    action = row.action
    days = ((action["closed_on"], "closed"), (action["started_on"], "begun"))
    said = [
        f"It was {done} on {day}, before the first day with data, {snapshot.first}: check the day."
        for day, done in days if day is not None and snapshot.first is not None and day < snapshot.first
    ]
    return said + (sites_without(snapshot, row.work.scope) if row.work else [])


def _told(row: _Row, near: Sequence[str], amiss: Sequence[str]) -> dict[str, Any]:
    action = row.action
    told = {name: action[name] for name in ("action_id", "what", "scope", "finding_id", "owner", "started_on")}
    if row.judged is None or row.work is None:
        return told | {"verdict": row.verdict, "warning": " ".join([row.trouble, *amiss])}
    j, work = row.judged, row.work
    told |= {
        "outcome": work.outcome, "before_from": work.first_on,
        "jobs_before": j.own.jobs_before, "returned_before": j.own.returned_before,
        "jobs_after": j.own.jobs_after, "returned_after": j.own.returned_after, "under_way": j.under_way,
        **j.own.change, "comparable": int(j.own.change["comparable"]),
        "expected": expected_ratio(action["expected_change"]), "jobs_needed": j.jobs_needed,
        "p_value": j.p_value, "verdict": j.verdict, "seen_on": j.seen_on, "expected_on": j.expected_on,
    }
    if work.beside is not None and j.other is not None:
        told |= {
            "comparison": work.like, "other_before": j.other.jobs_before, "other_after": j.other.jobs_after,
            "other_returned_before": j.other.returned_before, "other_returned_after": j.other.returned_after, **j.net,
        }
    if row.checks is not None:
        for side, (checked, passed) in row.checks.items():
            told |= {f"checks_{side}": checked, f"yield_{side}": passed / checked if checked else None}
    said = [f"{listed(near)} began within a year of it on work that may be the same: effects cannot be told apart."]
    warnings = [*amiss, *j.warnings, *(said if near else ())]
    return told | {"warning": " ".join(warnings) or None, "concurrent": ",".join(near)}


def _scopes(rows: Sequence[_Row], today: date) -> list[tuple[str, date, "ActionScope"]]:
    """The scopes of the actions that have begun: of others nothing is known on that day."""
    begun = (r for r in rows if r.work is not None and r.action["started_on"] <= today)
    return [(r.action["action_id"], r.action["started_on"], r.work.scope) for r in begun if r.work is not None]


def _overlaps(snapshot: Snapshot, row: _Row, scopes: Sequence[tuple[str, date, "ActionScope"]]) -> list[str]:
    """The other actions that began within the time compared, and in whose scope some of the same jobs lie."""
    if row.work is None:
        return []
    own, started = row.work.scope, row.action["started_on"]
    return [
        name for name, day, scope in scopes
        if name != row.action["action_id"] and abs((day - started).days) < BEFORE_DAYS
        and _share_jobs(snapshot, own, scope)
    ]


def _share_jobs(snapshot: Snapshot, one: "ActionScope", two: "ActionScope") -> bool:
    """Whether any job belongs to the work of both scopes."""
    names = {**one.jobs, **two.jobs}
    both = {
        n: tuple(v for v in names[n] if v in one.jobs.get(n, names[n]) and v in two.jobs.get(n, names[n]))
        for n in names
    }
    if not all(both.values()):
        return False
    values = {"steps": list(one.steps), "other_steps": list(two.steps)}
    return bool(counts(snapshot.store, "scope_overlap", where=both, values=values)["jobs"].sum())


def _table(made: Sequence[Mapping[str, Any]]) -> "pl.DataFrame":
    import polars as pl

    kinds = {"text": pl.String(), "day": pl.Date(), "count": pl.Int64(), "share": pl.Float64(), "chance": pl.Float64()}
    columns = {}
    for name, kind in COLUMNS.items():
        values = [row.get(name) for row in made]
        if kind == "share":
            columns[name] = rounded([float("nan") if v is None else v for v in values])
        elif kind == "chance":
            columns[name] = rounded_p_values([float("nan") if v is None else v for v in values])
        else:
            columns[name] = pl.Series(values, dtype=kinds[kind])
    return pl.DataFrame(columns)


COLUMNS = {
    "action_id": "text", "what": "text", "scope": "text", "finding_id": "text", "owner": "text", "started_on": "day",
    "outcome": "text", "before_from": "day",
    "jobs_before": "count", "returned_before": "count", "jobs_after": "count", "returned_after": "count",
    "under_way": "count", "comparable": "count", "difference": "share", "low": "share", "high": "share",
    "ratio": "share", "ratio_low": "share", "ratio_high": "share", "comparison": "text", "other_before": "count",
    "other_returned_before": "count", "other_after": "count", "other_returned_after": "count", "net": "share",
    "net_low": "share", "net_high": "share", "p_value": "chance", "expected": "share", "jobs_needed": "count",
    "verdict": "text", "seen_on": "day", "expected_on": "day", "warning": "text", "checks_before": "count",
    "yield_before": "share", "checks_after": "count", "yield_after": "share", "concurrent": "text",
}


def _sides(rows: Sequence[_Row], level: float) -> "pl.DataFrame":
    """The plain rates on both sides, of the work in scope and of that beside it."""
    import polars as pl

    from rqa.stats import proportion_interval

    made = []
    for row in rows:
        if row.judged is None:
            continue
        for work, side in (("in scope", row.judged.own), ("beside it", row.judged.other)):
            if side is not None:
                made.append((row.action["action_id"], work, "before", side.jobs_before, side.returned_before))
                made.append((row.action["action_id"], work, "after", side.jobs_after, side.returned_after))
    table = pl.DataFrame(
        made, orient="row",
        schema={"action_id": pl.String, "work": pl.String, "side": pl.String, "jobs": pl.Int64, "returned": pl.Int64},
    )
    r = proportion_interval(successes=table["returned"].to_numpy(), trials=table["jobs"].to_numpy(), level=level)
    return table.with_columns(rate=rounded(r.estimate), low=rounded(r.low), high=rounded(r.high))


def _notes(window: int, level: float, made: Sequence[Mapping[str, Any]]) -> list[str]:
    if not made:
        return ["The store holds no actions; add one with: rqa action WORKSPACE --what … --started-on … --scope …"]
    notes = [
        f"Come-backs within {counted(window, 'day')} of jobs that have matured; before: jobs closed in the "
        f"{BEFORE_DAYS} days before the start, or since the log of its sites begins (before_from); after: opened from "
        "the start on; jobs under way at the start are neither.",
        f"Verdicts are judged on month ends, over all looks together: of actions without effect "
        f"{percent(1 - level, decimals=0)} at most get a verdict that says otherwise. Limits and p-value are those of "
        f"one look, for {percent(level, decimals=0)}.",
        f"Where no change was stated in a form that can be read, x{EXPECTED} was planned for; a verdict takes at most "
        f"the jobs of {MONTHS_AHEAD} usual months, however long these take to come in.",
    ]
    alone = [str(row["action_id"]) for row in made if row.get("outcome") and row.get("comparison") is None]
    if alone:
        notes.append(
            f"Nothing alike stands beside {listed(alone)}: whatever else changed at the time is in the difference too."
        )
    under = sum(int(row.get("under_way") or 0) for row in made)
    if under:
        notes.append(
            f"{counted(under, 'matured job was', 'matured jobs were')} under way at the start of an action and "
            f"{plural(under, 'is', 'are')} left out."
        )
    notes.append("For the control chart split at an action: depot.control_chart(where=ACTION, stages=ACTION).")
    return notes
