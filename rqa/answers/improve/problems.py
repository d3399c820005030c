"""Problems: the findings of a month that speak of one thing, joined, so that a reader meets each thing once."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from rqa.answers.core.finding import Finding
from rqa.answers.improve.overall_findings import FIGURES

BROAD = frozenset({"site", "model", "procedure"})
"""A finding about one of these alone says where, and not what: it joins no others."""
JOINED = " + "
"""Between steps that the logs cannot separate, which share one finding."""
NEARLY = 0.8
"""Of the come-backs that a problem could spare, the share from which a closer finding stands for all of it."""
SPARES = 0.5
"""Come-backs from which a finding counts as one that spares some."""


MOST = 0.5
"""The share of the come-backs of each of two findings from which they are the same come-backs."""
Returned = Callable[[str], frozenset[str]]


@dataclass(frozen=True)
class Problem:
    """Findings of one thing, in their order; `told` is the one whose numbers stand for it."""

    findings: tuple[Finding, ...]

    @property
    def told(self) -> Finding:
        """The closest of those that would spare nearly as many come-backs as any of them; else the first."""
        most = max(spared(f) for f in self.findings)
        if most < SPARES:
            return self.findings[0]
        return max((f for f in self.findings if spared(f) >= NEARLY * most), key=lambda f: len(f.scope))

    @property
    def scope(self) -> dict[str, str]:
        """What its findings name in all; where they name different values, that of the one that is told."""
        named: dict[str, str] = {}
        for f in (self.told, *self.findings):
            for name, value in f.scope.items():
                named.setdefault(name, value)
        return named

    @property
    def avoided(self) -> float:
        """How many come-backs fewer there would have been: as the finding told has it, since the others count the same
        jobs again."""
        return spared(self.told)


def problems(findings: Iterable[Finding], returned: Returned = lambda _: frozenset()) -> tuple[Problem, ...]:
    """The findings on the bad side, those of one problem together, in the order of the first of each.

    Two findings speak of one problem where all that the one names the other names, too: its jobs are then among those
    of the other. So a kind of work and a step of it are one problem. So are a breach and the bench where it is met, or
    a lot and the weeks in which its come-backs were bunched. A site, model or procedure alone links nothing in this
    way. They also do where most of the come-backs of each are come-backs of the other, whatever they name: `returned`
    gives the jobs that came back of a finding by its id, and none where it has no list of them. What is linked by a
    third finding is one as well. Findings about the whole depot follow the others, one problem for each of the month's
    figures.
    """
    worse = [f for f in findings if f.worse]
    groups: list[list[Finding]] = []
    for f in worse:
        linked = [g for g in groups if any(is_one(f, other) for other in g)]
        linked += [g for g in groups if g not in linked and any(_same_comebacks(f, other, returned) for other in g)]
        merged = [*(other for g in linked for other in g), f]
        groups = [*(g for g in groups if g not in linked), merged]
    place = {id(f): n for n, f in enumerate(worse)}
    made = [sorted(g, key=lambda f: place[id(f)]) for g in groups]
    made.sort(key=lambda g: (not g[0].scope, place[id(g[0])]))
    return tuple(Problem(tuple(g)) for g in made)


def is_one(one: Finding, other: Finding) -> bool:
    """Whether two findings speak of one problem."""
    if not one.scope or not other.scope:
        return not one.scope and not other.scope and _figure(one) == _figure(other)
    small, large = sorted((one.scope, other.scope), key=len)
    return not (len(small) == 1 and set(small) <= BROAD and len(large) > 1) and holds(large, small)


def _same_comebacks(one: Finding, other: Finding, returned: Returned) -> bool:
    """Whether most of the come-backs of each finding are come-backs of the other; those of the whole depot are not."""
    if not one.scope or not other.scope or spared(one) < SPARES or spared(other) < SPARES:
        return False
    first, second = returned(one.id), returned(other.id)
    return len(first & second) > MOST * max(len(first), len(second), 1)


def holds(large: Mapping[str, str], small: Mapping[str, str]) -> bool:
    """Whether all that the one names is named by the other, too; of joined steps it is enough to share one."""
    return all(name in large and shares(large[name], value) for name, value in small.items())


def shares(one: str, other: str) -> bool:
    """Whether two values are the same, or name a step in common."""
    return one == other or bool(set(one.split(JOINED)) & set(other.split(JOINED)))


def answers_it(problem: Problem, found: str | None, where: Mapping[str, Sequence[str]]) -> bool:
    """Whether an action answers a problem: it names one of its findings, or its scope lies where the problem lies."""
    if found and found in {f.id for f in problem.findings}:
        return True
    scope = problem.scope
    both = set(where) & set(scope)
    fits = all(any(shares(value, scope[name]) for value in where[name]) for name in both)
    return bool(both) and not both <= {"site"} and fits and (set(where) <= set(scope) or set(scope) <= set(where))


def spared(f: Finding) -> float:
    """Come-backs fewer, had the place been like what it was compared with; 0 where that makes no sense."""
    return f.avoided or 0.0


def _figure(f: Finding) -> str:
    """The figure of the month that a finding about the whole depot speaks of; else its kind."""
    return next((figure.name for figure in FIGURES if figure.name in f.kind), f.kind)
