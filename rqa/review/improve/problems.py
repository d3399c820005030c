"""What to act on: the month's problems in a line each, with what they cost, the next step, and the action under way."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from rqa.answers.core.action_scope import read_scope
from rqa.answers.core.finding import Finding
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.findings import WINDOW, MonthFindings
from rqa.answers.improve.problems import SPARES, Problem, answers_it, problems
from rqa.depot import Depot
from rqa.plots.comebacks.costs import money
from rqa.review import sheet_texts as say
from rqa.review.facts import ProblemLine
from rqa.review.improve.finding_jobs import FindingJobs
from rqa.review.texts import cut
from rqa.words import NAMES, count, counted, estimate, fixed, month_name, months_said, percent, plural, spoken

MOST = 3
"""Problems of a sheet: more are not acted on in a month."""
COMPARED = 10
"""Findings whose come-backs are held against each other, job by job: those that would spare most."""
PLAIN = ("model", "procedure")
"""What is named without saying that it is one."""
UNSAID = ("subsystem", "class", "failures")
"""What a place leaves out, as the rest of the line says it."""
OF_CHECKS = {
    "retest passes": "{} failed runs passed again with nothing done",
    "first-pass yield": "{} first checks passed",
    "first runs of a test": "{} first runs passed",
    "first checks that failed": "{} first checks failed",
    "first runs of diagnostics": "{} first runs failed",
    "burst of failed first checks": "{} first checks failed",
    "breaches of the procedure": "in {} jobs",
}
"""What is said of a finding that is not about come-backs, by how its kind begins; {} is how many of how many."""
BY_BENCH = "breaches of the procedure, by bench"
AT_ONCE = ("lot", "burst")
"""A problem with a lot or a burst ends with it: what it costs is no sum a year."""
YEAR = 12
LONGEST = {"where": 16, "what": 16, "check": 13, "owner": 4}
"""Words of each part of a line; a name out of a log may be longer."""


def problem_lines(
    depot: Depot, month: date, found: MonthFindings, actions: Sequence[dict[str, Any]], listed: Sequence[str],
    jobs: FindingJobs,
) -> tuple[tuple[ProblemLine, ...], str]:
    """The first problems of a month, and what they count; persons are left out.

    `actions` are the verdicts on the actions begun by the month that may be shown, `listed` the ids of the findings
    that have a place of their own in the annex; `jobs` lists those behind each finding.
    """
    kept = [f for f in found.findings if not depot.people & set(f.scope)]
    states = dict(zip((f.id for f in found.findings), found.table["state"].to_list(), strict=True))
    asked = {f.id for f in kept[:COMPARED]}
    every = problems(kept, lambda name: jobs.ids_returned(name) if name in asked else frozenset())
    mean, currency = _mean_cost(depot, found)
    lines = tuple(_line(p, states, actions, listed, mean, currency, month, jobs) for p in every[:MOST])
    return lines, _basis(every, lines)


def nothing_to_act_on(depot: Depot, quiet: Sentence) -> Sentence:
    """What is said where there is no problem; `quiet` is what the list of findings says, nothing where it has some."""
    return quiet.short or depot.grounds().claim(
        "Nothing to act on: what differs clearly is better than what it is compared with.", *SEEN, "final_comebacks",
        about="whether there is anything to act on",
    ).short


def _line(
    p: Problem, states: dict[str, str], actions: Sequence[dict[str, Any]], listed: Sequence[str], mean: float | None,
    currency: str, month: date, jobs: FindingJobs,
) -> ProblemLine:
    f = p.told
    ids = tuple(one.id for one in p.findings)
    named = [r for r in actions if answers_it(p, r["finding_id"], read_scope(r["scope"]).where)]
    last = max(named, key=lambda r: (r["started_on"], r["action_id"]), default=None)
    worth, cost = _worth(p, mean, currency)
    behind = jobs.of(f.id)
    return ProblemLine(
        ids=ids,
        address=next((i for i in (f.id, *ids) if i in listed), "look"),
        listed="" if behind is None else behind.address,
        where=cut(_where(p), LONGEST["where"]),
        what=cut(_what(f), LONGEST["what"]),
        worth=worth,
        check=_step(f.check),
        action="" if last is None else _action(last, month),
        state=states[f.id],
        answered=last is not None,
        events=f.events,
        jobs=f.jobs,
        avoided=round(p.avoided, 1),
        cost=cost,
    )


def _where(p: Problem) -> str:
    """The place in as few words as tell it: "Marl-10, main board"; of a breach, the bench where most of it is met."""
    scope = {name: value for name, value in p.told.scope.items() if name not in UNSAID}
    if "subsystem" in p.told.scope and len(scope) > 1:
        scope.pop("step", None)
    if not scope:
        return p.told.where if p.told.scope else "The whole depot"
    order = [*(n for n in PLAIN if n in scope), *(n for n in scope if n not in PLAIN)]
    said = [spoken(scope[n]) if n in (*PLAIN, "breach") else f"{NAMES.get(n, spoken(n))} {spoken(scope[n])}"
            for n in order]
    benches = [f.scope["bench"] for f in p.findings if f.kind == BY_BENCH and "bench" not in scope]
    said += [f"mostly at bench {spoken(benches[0])}"] if benches else []
    said += [p.told.when] if p.told.when else []
    text = ", ".join(said)
    return text[:1].upper() + text[1:]


def _what(f: Finding) -> str:
    """What is amiss there, with its count."""
    of = "" if f.events is None else f"{count(f.events)} of {count(f.jobs)}"
    begun = next((said for start, said in OF_CHECKS.items() if f.kind.startswith(start)), "")
    if of and begun:
        return begun.format(of)
    if f.avoided is not None and f.scope:
        fault = f" with {_article(spoken(f.scope['subsystem']))} fault" if "subsystem" in f.scope else ""
        return f"{of} {plural(f.jobs, 'job')} came back{fault}" if of else f"come-backs{fault}"
    return f.what.partition(" (")[0]


def _article(noun: str) -> str:
    return f"{'an' if noun[:1].lower() in 'aeiou' else 'a'} {noun}"


def _step(check: str) -> str:
    """The first step of a check; what is joined to it is left out where it is long."""
    first = check.partition(";")[0]
    while len(first.split()) > LONGEST["check"] and (" and " in first or ", " in first):
        first = first[: max(first.rfind(" and "), first.rfind(", "))]
    return cut(first.rstrip(","), LONGEST["check"])


def _worth(p: Problem, mean: float | None, currency: str) -> tuple[str, float | None]:
    """How many come-backs could be avoided, and what they cost, in words and as a sum: a year, or in all where the
    problem ends by itself or less than a year was looked at."""
    if p.avoided < SPARES:
        return "", None
    months = 0 if p.told.months is None else _months(p.told.months)
    once = AT_ONCE[0] in p.scope or any(one.kind.startswith(AT_ONCE[1]) for one in p.findings) or months < YEAR
    number = p.avoided * (1.0 if once else YEAR / months)
    about = estimate(number) if number < 1 else fixed(number, 0)
    said = say.AVOIDABLE.format(number=about, span=say.IN_ALL if once else say.A_YEAR)
    if mean is None:
        return said, None
    return f"{said} ({money(_rounded(number * mean), currency)})", number * mean


def _months(span: tuple[date, date]) -> int:
    first, last = span
    return (last.year - first.year) * YEAR + last.month - first.month + 1


def _rounded(cost: float) -> float:
    """To the hundred, a sum below a thousand to the ten: an estimate has no more digits."""
    return round(cost, -2 if cost >= 1000 else -1)


def _mean_cost(depot: Depot, found: MonthFindings) -> tuple[float | None, str]:
    """What one of the come-backs costs that are counted, on average; None where it is not known."""
    where = found.counted.where if found.counted else None
    answer = depot.costs(by=(), window=WINDOW, where=where)
    mean = answer.table["mean"][0] if answer.table.height else None
    return (float(mean) if mean is not None else None), str(answer.settings["currency"])


def _action(r: dict[str, Any], month: date) -> str:
    """The action about it: who, since when, and the rates before and after."""
    owner = say.OWNER.format(owner=cut(spoken(r["owner"]), LONGEST["owner"])) if r["owner"] else say.NO_OWNER
    before, after = (_rate(r, side) for side in ("before", "after"))
    jobs = counted(r["jobs_after"] or 0, "job")
    rates = say.RATES.format(before=before, after=after, jobs=jobs) if before and after else ""
    return say.ACTION_DONE.format(
        action=r["action_id"], owner=owner, month=say.near(month_name(r["started_on"]), month), rates=rates,
        verdict=say.VERDICTS.get(r["verdict"], r["verdict"]),
    )


def _rate(r: dict[str, Any], side: str) -> str:
    jobs, back = r[f"jobs_{side}"], r[f"returned_{side}"]
    return percent(back / jobs) if jobs and back is not None else ""


def _basis(every: Sequence[Problem], lines: Sequence[ProblemLine]) -> str:
    """What the problems count, how many more there are, and what avoidable means where a line says it."""
    spans = [p.told.months for p in every[:MOST] if p.told.months is not None]
    said = []
    if spans:
        months = months_said(min(s[0] for s in spans), max(s[1] for s in spans))
        said.append(say.BASIS.format(days=counted(WINDOW, "day"), months=months))
    more = len(every) - MOST
    said += [say.MORE_PROBLEMS.format(more=count(more))] if more > 0 else []
    means = f" {say.AVOIDABLE_MEANS}" if any(line.worth for line in lines) else ""
    return f"{'; '.join(said)}.{means}" if said else means.strip()
