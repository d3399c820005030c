"""What columns are by how they stand to each other, where no header says it: guesses, each to be checked."""

from collections.abc import Mapping
from dataclasses import replace

from rqa.contract import TABLES
from rqa.intake.names import quoted
from rqa.intake.values import ParseOptions
from rqa.proposals.columns import TIME, Facts
from rqa.proposals.matching import NEEDED, Guess, Matched
from rqa.proposals.vocabulary import code_of
from rqa.store.looked import Looked
from rqa.words import counted

BY_ORDER, BY_SHAPE = 0.6, 0.55
"""How sure a guess is that rests on the order of times alone, or on how values look: below what needs no check."""
IN_ORDER = 0.98
LEAST = 5
"""Rows with both times below which their order says nothing."""
PAIRS = {"jobs": ("opened_at", "closed_at"), "steps": ("started_at", "ended_at")}
ALONE = {"diagnostics": "run_at", "steps": "ended_at"}
"""Times that are the only one of most logs."""


def completed(match: Matched, facts: Mapping[str, Facts], name: str, looked: Looked) -> Matched:
    """A match with the columns that only their values tell."""
    made = with_names_of_work(_times(match, facts, name, looked), facts)
    return _unit(_job(made, facts), facts) if made.table == "jobs" else made


def _left(match: Matched, facts: Mapping[str, Facts]) -> list[Facts]:
    used = {g.source for g in match.guesses.values()}
    return [f for f in facts.values() if f.name not in used and f.given]


def _added(match: Matched, *guesses: Guess) -> Matched:
    candidates = {k: v for k, v in match.candidates.items() if k not in {g.target for g in guesses}}
    return replace(match, guesses=match.guesses | {g.target: g for g in guesses}, candidates=candidates)


def _times(match: Matched, facts: Mapping[str, Facts], name: str, looked: Looked) -> Matched:
    left = [f for f in _left(match, facts) if f.times is not None and f.times.formats]
    if match.table in PAIRS:
        first, last = PAIRS[match.table]
        has = [t for t in (first, last) if t in match.guesses]
        if len(has) == 1 and left:
            known = facts[match.guesses[has[0]].source]
            wanted = last if has[0] == first else first
            found = [(f, said) for f in left if (said := order_said(name, f, known, looked, before=wanted == first))]
            if len(found) == 1:
                return _added(match, Guess(wanted, found[0][0].name, BY_ORDER, (found[0][1],)))
            if found:
                likely = tuple((f.name, BY_ORDER - 0.2) for f, _ in found[:3])
                return replace(match, candidates={wanted: likely} | match.candidates)
            return match
        if not has and len(left) == 2:
            for a, b in (left, left[::-1]):
                if said := order_said(name, a, b, looked, before=True):
                    return _added(match, Guess(first, a.name, BY_SHAPE, (said,)), Guess(last, b.name, BY_SHAPE, (said,
                                                                                                                 )))
    alone = ALONE.get(match.table)
    if alone and alone not in match.guesses and len(left) == 1 and not any(
        TABLES[match.table].column(t).kind == "time" for t in match.guesses
    ):
        return _added(match, Guess(alone, left[0].name, BY_ORDER, ("it is the only column of times",)))
    return match


def order_said(name: str, one: Facts, known: Facts, looked: Looked, *, before: bool) -> str:
    """What is said of a time that is never after, or never before, one that is known; "" where that does not hold."""
    if one.times is None or known.times is None:
        return ""
    forms = tuple(dict.fromkeys((*one.times.formats, *known.times.formats)))
    a, b = (one, known) if before else (known, one)
    good, both = looked.in_order(name, quoted(a.name), quoted(b.name), TIME, ParseOptions(times=forms))
    if both < LEAST or good < IN_ORDER * both:
        return ""
    return f"in {good:,} of {counted(both, 'row')} {a.name!r} is not after {b.name!r}"


def with_names_of_work(match: Matched, facts: Mapping[str, Facts]) -> Matched:
    """What was tested, done or fitted: the one column left whose texts come again and again."""
    target = NEEDED.get(match.table)
    if target is None or target in match.guesses:
        return match
    texts = [f for f in _left(match, facts) if f.times is None and not f.clock and f.number < 0.5]
    like = [f for f in texts if 2 <= f.distinct <= 0.5 * f.filled and not _is_status(f)]
    if len(like) == 1:
        said = f"{like[0].distinct:,} texts that come again in {counted(like[0].filled, 'row')}"
        return _added(match, Guess(target, like[0].name, BY_SHAPE, (said,)))
    return match


def _is_status(one: Facts) -> bool:
    """Whether most values are words of an outcome."""
    allowed = TABLES["diagnostics"].column("outcome").allowed
    return sum(n for v, n in one.values if code_of(v, "outcome", allowed)[0]) > 0.5 * one.given


def _job(match: Matched, facts: Mapping[str, Facts]) -> Matched:
    """The job's id: the one column left that differs in every row."""
    if "job_id" in match.guesses:
        return match
    like = [f for f in _left(match,
                             facts) if f.filled == f.rows == f.distinct > LEAST and f.times is None and not f.decimal]
    if len(like) == 1:
        return _added(match, Guess("job_id", like[0].name, BY_SHAPE, ("its values differ in every row",)))
    return match


def _unit(match: Matched, facts: Mapping[str, Facts]) -> Matched:
    """The unit's id: the one column left whose values look like ids and come back now and then."""
    if "unit_id" in match.guesses:
        return match
    like = [
        f for f in _left(match, facts)
        if f.times is None and not f.clock and not f.decimal and f.unique >= 0.3 and f.distinct > LEAST
        and all(any(c.isdigit() for c in t) and len(t) <= 40 and " " not in t for t in f.texts[:200])
    ]
    if len(like) == 1:
        said = f"its values look like ids, {like[0].distinct:,} of them different"
        return _added(match, Guess("unit_id", like[0].name, BY_SHAPE, (said,)))
    return match
