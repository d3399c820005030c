"""Findings of one problem are joined: held against the jobs that they name, in any order, and by cases from a depot."""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.answers.core.finding import Finding
from rqa.answers.improve.problems import Problem, answers_it, is_one, problems

WORK = {"model": "Marl-10", "procedure": "main board"}
STEP = {**WORK, "step": "lay cables + reseat cable", "subsystem": "display"}
BREACH = {"breach": "alignment checked early"}


def finding(scope: dict[str, str], kind: str = "k", avoided: float | None = None, *, worse: bool = True) -> Finding:
    return Finding(
        kind=kind, scope=scope, what="w", measure="ratio", size=2.0, low=1.0, high=3.0, worse=worse, jobs=30,
        p_value=0.01, caution="c", check="look", avoided=avoided,
    )


def partition(findings: list[Finding]) -> set[frozenset[str]]:
    return {frozenset(f.id for f in p.findings) for p in problems(findings)}


@pytest.mark.parametrize(
    ("one", "other", "joined"),
    [
        (WORK, STEP, True),
        (BREACH, {"bench": "C-3", **BREACH}, True),
        ({"lot": "K-1", "part_no": "P"}, {"lot": "K-1", "part_no": "P"}, True),
        ({"step": "reseat cable"}, STEP, True),
        ({"step": "fit cell"}, STEP, False),
        (WORK, {"model": "Marl-8", "procedure": "main board"}, False),
        ({"site": "Alder"}, {"site": "Alder", "bench": "A-1"}, False),
        ({"model": "Marl-10"}, WORK, False),
        ({"site": "Alder"}, {"site": "Alder"}, True),
        ({}, WORK, False),
        ({"test": "sweep"}, {"test": "sweep", "station": "S2"}, True),
        ({"test": "sweep", "study": "spring"}, {"test": "sweep", "station": "S2"}, False),
    ],
)
def test_what_is_one_problem(one: dict[str, str], other: dict[str, str], joined: bool) -> None:
    """By what each names: the kind of work and its step, the breach and its bench, the lot and its weeks."""
    assert is_one(finding(one), finding(other, "l")) is joined
    assert is_one(finding(other, "l"), finding(one)) is joined


PLACES = st.dictionaries(st.sampled_from(["bench", "step", "lot"]), st.sampled_from(["a", "b"]), min_size=1)


@given(st.lists(PLACES, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_those_joined_share_jobs_and_order_plays_no_part(places: list[dict[str, str]], rng: random.Random) -> None:
    """Every job there can be, one for each combination of values: the smaller finding's are all in the larger one's."""
    jobs = [{"bench": b, "step": s, "lot": x} for b in "ab" for s in "ab" for x in "ab"]
    made = [finding(scope, kind=f"k{n}", avoided=float(n)) for n, scope in enumerate(places)]
    named = [{i for i, job in enumerate(jobs) if all(job[k] == v for k, v in scope.items())} for scope in places]
    for i, one in enumerate(made):
        for j, other in enumerate(made):
            assert is_one(one, other) == (named[i] <= named[j] or named[j] <= named[i])
    mixed = made[:]
    rng.shuffle(mixed)
    assert partition(made) == partition(mixed)
    assert sum(len(p.findings) for p in problems(made)) == len(made)


@pytest.mark.parametrize(
    ("first", "second", "joined"),
    [("abcd", "bcde", True), ("abcdefgh", "abc", False), ("ab", "cd", False), ("abcd", "cdef", False), ("", "", False)],
)
def test_the_same_come_backs_are_one_problem_whatever_is_named(first: str, second: str, joined: bool) -> None:
    """Most of the come-backs of each must be those of the other: three of four are, two of four are not."""
    lot, bench = finding({"lot": "K-1"}, "a", 9.0), finding({"bench": "C-3"}, "b", 8.0)
    came = {lot.id: frozenset(first), bench.id: frozenset(second)}
    assert (len(problems([lot, bench], came.__getitem__)) == 1) is joined
    assert (len(problems([bench, lot], came.__getitem__)) == 1) is joined
    whole = finding({}, "c", 9.0)
    assert len(problems([whole, bench], lambda _: frozenset(first))) == 2, "the whole depot has them all"


def test_the_closest_of_the_large_ones_is_told() -> None:
    whole, step = finding(WORK, "a", 20.7), finding(STEP, "b", 19.9)
    small = finding({**STEP, "site": "Alder"}, "c", 3.0)
    (problem,) = problems([whole, step, small])
    assert problem.told is step
    assert problem.avoided == 19.9
    assert Problem((finding(STEP, "b"), finding(WORK, "a"))).told.kind == "b", "the first, where none spares any"
    assert problem.scope == {**STEP, "site": "Alder"}


def test_the_whole_depot_comes_last_and_what_is_better_nowhere() -> None:
    month = finding({}, "clean-job share of the month against the year before")
    chart = finding({}, "signal on the control chart of clean-job share")
    other = finding({}, "first-pass yield of the month against the year before")
    better = finding({"bench": "A-1"}, worse=False)
    made = problems([month, finding(BREACH), better, chart, other])
    assert [len(p.findings) for p in made] == [1, 2, 1]
    assert [bool(p.findings[0].scope) for p in made] == [True, False, False]


@pytest.mark.parametrize(
    ("where", "answered"),
    [
        ({**{k: (v,) for k, v in WORK.items()}, "step": ("reseat cable",)}, True),
        ({"procedure": ("main board",)}, True),
        ({"procedure": ("battery",), "step": ("fit cell",)}, False),
        ({"model": ("Marl-8", "Marl-10"), "procedure": ("main board",)}, True),
        ({"model": ("Marl-8",)}, False),
        ({"site": ("Alder",)}, False),
        ({}, False),
    ],
)
def test_an_action_answers_where_its_scope_lies(where: dict[str, Any], answered: bool) -> None:
    (problem,) = problems([finding(WORK, "a"), finding(STEP, "b")])
    assert answers_it(problem, None, where) is answered
    assert answers_it(problem, problem.findings[1].id, {}), "or it names one of the findings"
    assert not answers_it(problem, "F-00000000", {})
