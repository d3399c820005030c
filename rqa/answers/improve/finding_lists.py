"""The jobs behind a finding: those of the answer that compared it, in its place and months.

A finding says in `kind` what was compared and in `scope` where. Its list is that of the question it came from, so it
has as many rows as jobs (or checks) stand behind the finding; work that was left out of a comparison, as nothing is
there to compare it with, is listed too.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from rqa.answers.charts.capability import CapabilityIndices
from rqa.answers.comebacks.counted import CountedClasses
from rqa.answers.comebacks.projection import Projection
from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.compare.comparison import Comparison
from rqa.answers.compare.expected_counts import OUTCOMES
from rqa.answers.core.finding import Finding
from rqa.answers.core.job_lists import Asked, JobList
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Scope, Snapshot
from rqa.answers.core.told_sites import told_scope
from rqa.answers.improve.overall_findings import FIGURES
from rqa.answers.steps.attribution import Attribution
from rqa.answers.steps.breach_kinds import WORDS
from rqa.answers.steps.conformance import Breaches
from rqa.answers.steps.relative_risk import StepRelativeRisk
from rqa.answers.steps.step_pairs import AFTER
from rqa.answers.tests.releases import SAID, USUAL, Releases
from rqa.answers.tests.retests import RetestPasses
from rqa.answers.yields.clean import CleanJobs
from rqa.answers.yields.first_pass import FirstPassYield
from rqa.errors import RequestError
from rqa.words import did_you_mean, enumerated

RELEASE_WINDOW = 90
"""Days within which the releases of the findings count come-backs."""
Row = Mapping[str, object]


class FindingPlace:
    """What a finding's list is asked with: where, which months, which come-backs count."""

    def __init__(
        self, snapshot: Snapshot, finding: Finding, *, month: date, finals: Mapping[int, date], window: int,
        counted: CountedClasses | None, answers: Mapping[str, Answer],
    ) -> None:
        self.snapshot, self.finding, self.month, self.finals = snapshot, finding, month, finals
        self.window, self.answers = window, answers
        self.classes = counted.classes if counted else ()
        self.filters = dict(counted.where or {}) if counted else {}

    def asked(self, kind: type[Answer], *, classes: bool = False, months: Any = "own", **settings: object) -> Answer:
        """An answer of this kind that nothing is counted of: only its list is asked for."""
        import polars as pl

        span = (self.finding.months or (self.month, self.month)) if months == "own" else months
        where = {name: tuple(kept) for name, kept in self.filters.items()} if classes else {}
        if classes and self.classes:
            where = dict(told_scope(self.snapshot, Scope((), where), self.classes).where)
        made = {"by": (), "where": where, "months": span, "window": self.window, **settings}
        return kind(pl.DataFrame(), made, asked_of=Asked(self.snapshot))


def finding_jobs(place: FindingPlace, *, people: bool = False, returned: bool = False) -> JobList:
    """The jobs (or checks, or runs) behind a finding; with `returned` those of them that came back."""
    kind = place.finding.kind
    for begins, behind in BEHIND.items():
        if kind.startswith(begins):
            answer, count, row = behind(place)
            made = answer.listed()
            if returned and not isinstance(made, str) and made.returned not in made.counts:
                own, rows = place.finding.id, made.of(count).rows[1]
                said = f'counts no come-backs; .jobs(id="{own}") lists its {rows}.'
                raise RequestError(f"returned: {own} ({kind}) {said}")
            if returned:
                return answer.returned(people=people, **row)
            return answer.jobs(count, people=people, **row)
    why = next((said for begins, said in NO_LIST.items() if kind.startswith(begins)), "It counts no jobs.")
    raise RequestError(f"jobs: {place.finding.id} ({kind}) has no list of jobs. {why}")


def finding_named(stated: tuple[Finding, ...], wanted: object, shown: tuple[str, ...]) -> Finding:
    """The finding with this id, or `RequestError` naming those there are."""
    found = [f for f in stated if f.id == wanted]
    if not found:
        raise RequestError(
            f"jobs: there is no finding {wanted!r} in this month. There is: {enumerated(list(shown)) or 'none'}."
            f"{did_you_mean(str(wanted), shown)}"
        )
    return found[0]


Behind = Callable[[FindingPlace], tuple[Answer, str, Row]]


def _kinds_of_work(p: FindingPlace) -> tuple[Answer, str, Row]:
    return p.asked(Comebacks, classes=True), "matured", p.finding.scope


def _attributed(p: FindingPlace) -> tuple[Answer, str, Row]:
    return p.asked(Attribution, classes=True, per="step"), "done", p.finding.scope


def _after_breach(p: FindingPlace) -> tuple[Answer, str, Row]:
    return p.asked(Breaches), "breached_matured", _breach(p.finding.scope)


def _bench_breaches(p: FindingPlace) -> tuple[Answer, str, Row]:
    return p.asked(Breaches), "jobs", _breach(p.finding.scope)


def _breach(scope: Mapping[str, str]) -> dict[str, str]:
    kinds = {said: kind for kind, said in WORDS.items()}
    return {("kind" if name == "breach" else name): kinds.get(v, v) if name == "breach" else v
            for name, v in scope.items()}


def _after(what: str) -> Behind:
    """Come-backs after what happened at a step, or at a tool or bench."""

    def behind(p: FindingPlace) -> tuple[Answer, str, Row]:
        scope = dict(p.finding.scope)
        if what in scope:
            scope["place"] = scope.pop(what)
        made = p.asked(StepRelativeRisk, classes=True, after=(what,))
        return made, "cases", {"after": what, **scope}

    return behind


def _compared(outcome: str) -> Behind:
    """A group against what the same work brings."""

    def behind(p: FindingPlace) -> tuple[Answer, str, Row]:
        (who,) = p.finding.scope
        made = p.asked(Comparison, classes=outcome == "comeback", who=who, outcome=outcome, by=(who,))
        return made, "work", p.finding.scope

    return behind


def _checks(p: FindingPlace) -> tuple[Answer, str, Row]:
    of = "diagnostics" if "test" in p.finding.scope else "steps"
    return p.asked(FirstPassYield, of=of, by=tuple(p.finding.scope)), "exposures", p.finding.scope


def _retests(count: str) -> Behind:
    return lambda p: (p.asked(RetestPasses), count, p.finding.scope)


def _readings(p: FindingPlace) -> tuple[Answer, str, Row]:
    return p.asked(CapabilityIndices, measure="test_values", by=("test",)), "readings", p.finding.scope


def _burst(name: str) -> Behind:
    """The burst of the month's search that stands at the finding's place."""

    def behind(p: FindingPlace) -> tuple[Answer, str, Row]:
        found: Any = p.answers[name]
        scope = dict(p.finding.scope)
        part = scope.pop("part_no", None)
        (dimension, group), *_ = [*scope.items(), ("time", None)]
        for row in found.table.iter_rows(named=True):
            there = (row["dimension"], row["group"], row["part_no"], row["cases"])
            if there == (dimension, group, part, p.finding.jobs):
                return replace(found, asked_of=Asked(p.snapshot)), "cases", {"burst": row["burst"]}
        raise RequestError(f"jobs: the burst of {p.finding.id} is an echo of another one; ask steps.bursts() for it.")

    return behind


def _releases(p: FindingPlace) -> tuple[Answer, str, Row]:
    checks = {said: check for check, said in SAID.items()}
    check = checks[p.finding.kind.removeprefix(CLOSED_THOUGH)]
    made = p.asked(Releases, window=RELEASE_WINDOW, usual=USUAL)
    return made, "matured", {"check": check, **p.finding.scope}


def _figure(begins: str, ends: str = "") -> Behind:
    """A figure of the month: come-backs are those of the latest month that is final."""

    def behind(p: FindingPlace) -> tuple[Answer, str, Row]:
        name = p.finding.kind.removeprefix(begins).removesuffix(ends)
        figure = next(f for f in FIGURES if f.name == name)
        if begins == PROJECTED:
            return p.asked(Projection, months=(p.month, p.month), window=figure.window), "jobs", {}
        if figure.measure == "comebacks":
            final = p.finals[figure.window]
            return p.asked(Comebacks, months=(final, final), window=figure.window), "matured", {}
        own = (p.month, p.month)
        if figure.measure == "clean_jobs":
            return p.asked(CleanJobs, months=own), "jobs", {}
        return p.asked(FirstPassYield, months=own, of="steps"), "exposures", {}

    return behind


CLOSED_THOUGH = "come-backs of jobs closed though "
PROJECTED, AGAINST = "projected ", " of the month against the year before"
BEHIND: dict[str, Behind] = {
    **{f"{f.name}{AGAINST}": _figure("", AGAINST) for f in FIGURES},
    PROJECTED: _figure(PROJECTED),
    CLOSED_THOUGH: _releases,
    "come-backs attributed to a step": _attributed,
    "come-backs after a breach of the procedure": _after_breach,
    "breaches of the procedure, by bench": _bench_breaches,
    "come-backs by kind of work": _kinds_of_work,
    "come-backs by lot of a part": _kinds_of_work,
    **{f"come-backs by {what}": _after(what) for what in AFTER},
    **{f"{about.events}, by ": _compared(outcome) for outcome, about in OUTCOMES.items()},
    "first-pass yield of a step": _checks,
    "first runs of a test by model": _checks,
    "first checks of a step that failed": _checks,
    "retest passes by test": _retests("judged"),
    "false alarms by test and station": _retests("runs"),
    "station ": _readings,
    "burst of come-backs": _burst("bursts"),
    "burst of failed first checks": _burst("bursts of failed checks"),
}
"""How the kind of a finding begins, and what lists the jobs behind it: the answer, its count, and the row."""
NO_LIST = {
    "values piled up": "Its readings are told by value: ask tests.readings(), whose bands say where they lie.",
    "failures alike": "It groups patterns of failures, and several jobs may have one.",
    "failures met together": "Ask yields.failures() or tests.retests() for the jobs with one of them.",
    "appraisers differ": "Its cases are judgements of a study of the measuring, in the table studies.",
}
"""Findings of something else than jobs, and where to look."""
