"""At which sites come-backs are known by class: jobs of the others are left out where those of some classes count.

A site's system writes down what was found on return, and what a job had worked on, or it does not. Where it does not,
none of its come-backs can be of such a class: its jobs would only thin the rates of the others.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from rqa.answers.core.grounds import CANNOT, Sentence
from rqa.answers.core.own_work import hang_on_found, hang_on_touched, in_words
from rqa.answers.core.scope import Scope, Snapshot
from rqa.contract import CLASSES
from rqa.measures.run import counts
from rqa.words import counted, listed, plural, spoken

LEAST_KNOWN = 0.5
"""Share of the come-backs that must be known by class before those of some classes alone are counted."""
LUCK = 2
"""Cases fewer than that share which chance may bring: so many are granted, for a site with few cases."""
OF = {"found": "returned", "touched": "jobs", "logged": "jobs", "tested": "jobs"}
"""What is known, and what it is a part of."""
BY_SITE = "come-backs known by class at the sites asked about"
"""What a sentence rests on that says that nothing can be told of the sites asked about."""
MAPPED = {
    "found": (
        "“found” of the jobs that came back is not written down for most",
        'Add to [table.columns] of the [[table]] with table = "jobs" that reads this site: found = "…".',
    ),
    "touched": (
        "most jobs have no step log with a procedure that says what its steps touch",
        'Add to sources.toml a [[table]] with table = "steps" of this site, and its procedures to the one with table = '
        '"procedures".',
    ),
    "logged": (
        "most jobs have no step log", 'Add to sources.toml a [[table]] with table = "steps" of this site.',
    ),
    "tested": (
        "most jobs have no diagnostics", 'Add to sources.toml a [[table]] with table = "diagnostics" of this site.',
    ),
}
"""What a site lacks, and what to do."""
OF_CLASSES = "which come-backs are of the classes counted"
"""What cannot be told of the jobs left out."""


@dataclass(frozen=True)
class SiteKnowledge:
    """A site's repaired jobs, what is known of them, and what is not; where there are few, neither."""

    name: str
    jobs: int
    knows: tuple[str, ...]
    lacks: tuple[str, ...]


def _sites(snapshot: Snapshot) -> tuple[SiteKnowledge, ...]:
    """Every site with repaired jobs; an open store does not change, so it is asked once for each day."""
    return snapshot.store.once("known_by_site", snapshot.day, lambda: _asked(snapshot))


def _asked(snapshot: Snapshot) -> tuple[SiteKnowledge, ...]:
    rows = counts(snapshot.store, "known_by_site", values={"as_of": snapshot.day}).iter_rows(named=True)
    return tuple(
        SiteKnowledge(
            r["site"],
            r["jobs"],
            tuple(what for what, of in OF.items() if 0 < LEAST_KNOWN * r[of] <= r[what]),
            tuple(what for what, of in OF.items() if r[what] + LUCK < LEAST_KNOWN * r[of]),
        )
        for r in rows
    )


def untold_sites(snapshot: Snapshot, *classes: Iterable[str]) -> tuple[SiteKnowledge, ...]:
    """The sites at which come-backs cannot be told by these classes, each with what it lacks for it.

    None where no site has what they lack: then it is the depot that cannot tell (`rqa.answers.core.own_work`).
    """
    each = [tuple(c) for c in classes]
    hang = {"found": any(map(hang_on_found, each)), "touched": any(map(hang_on_touched, each))}
    return silent_sites(snapshot, *(what for what, hangs in hang.items() if hangs))


def silent_sites(snapshot: Snapshot, *marks: str) -> tuple[SiteKnowledge, ...]:
    """The sites at which most of one of these (names out of `OF`) is not written down, though others do write it."""
    sites = _sites(snapshot)
    known = {what for s in sites for what in s.knows if what in marks}
    lacking = (replace(s, lacks=tuple(what for what in s.lacks if what in known)) for s in sites)
    return tuple(s for s in lacking if s.lacks)


def marks_written(snapshot: Snapshot) -> dict[str, tuple[str, ...]]:
    """By site, which of what others write down nobody does there: failed steps and tests, faults found on return.

    Jobs of sites that write down unlike things are not compared by what went wrong with them.
    """
    sites = _sites(snapshot)
    known = [what for what in ("found", "logged", "tested") if any(what in s.knows for s in sites)]
    return {s.name: tuple(what for what in known if what in s.lacks) for s in sites}


def few_told(snapshot: Snapshot, *classes: Iterable[str]) -> bool:
    """Whether the sites at which come-backs can be told by these classes did less than half of the jobs."""
    left = sum(s.jobs for s in untold_sites(snapshot, *classes))
    return left > (1 - LEAST_KNOWN) * sum(s.jobs for s in _sites(snapshot))


def said_of(*classes: Iterable[str]) -> str:
    """How the come-backs are said that count together by these classes, or each class by itself."""
    each = {tuple(c) for c in classes}
    return f"come-backs {in_words(each.pop())[0]}" if len(each) == 1 else "come-backs by class"


def told_scope(snapshot: Snapshot, asked: Scope, *classes: Iterable[str]) -> Scope:
    """The scope without the sites at which come-backs cannot be told by these classes, and what that leaves out.

    Where it is about such sites alone it keeps no site, and says that nothing can be told. `classes` are those that
    count together; several, where each is told by itself.
    """
    each = [tuple(c) for c in classes]
    return _without(snapshot, asked, untold_sites(snapshot, *each), OF_CLASSES, said_of(*each))


def telling_scope(snapshot: Snapshot, asked: Scope, *marks: str, what: str, of: str = "") -> Scope:
    """The scope without the sites that do not write down these marks, as `told_scope`; `what` cannot be told there.

    `of` is what is counted without them, where other counts beside it have them.
    """
    return _without(snapshot, asked, silent_sites(snapshot, *marks), what, of)


def sites_without_log(snapshot: Snapshot) -> list[str]:
    """The sites that keep no step log though others do: what was done between two runs cannot be told there."""
    return [s.name for s in silent_sites(snapshot, "logged")]


def _without(snapshot: Snapshot, asked: Scope, untold: Sequence[SiteKnowledge], what: str, of: str = "") -> Scope:
    there = asked.where.get("site", tuple(s.name for s in _sites(snapshot)))
    left = [s for s in untold if s.name in there]
    if not left:
        return asked
    names = {s.name for s in left}
    kept = tuple(name for name in there if name not in names)
    note = left_out_note(left, what, of=of, alone=not kept)
    return replace(asked, where={**asked.where, "site": kept}, left_out=(note,))


def classes_asked(asked: Scope) -> tuple[tuple[str, ...], ...]:
    """The classes that count together: each by itself where they are a grouping, none where they are not named."""
    wanted = tuple(asked.where.get("class", CLASSES))
    if "class" in asked.by:
        return tuple((c,) for c in wanted)
    return (wanted,) if "class" in asked.where else ()


def told_where(snapshot: Snapshot, where: Mapping[str, Sequence[str]], *classes: Iterable[str]) -> Scope:
    """The same of filters by name alone."""
    return told_scope(snapshot, Scope((), {name: tuple(kept) for name, kept in where.items()}), *classes)


def left_out_note(
    left: Sequence[SiteKnowledge], what: str = OF_CLASSES, *, of: str = "", alone: bool = False
) -> Sentence:
    """That jobs of these sites are left out, why, and what to do; `alone`: that nothing can be told.

    `of` is what is counted without them, where other counts beside it have them.
    """
    names = listed([spoken(s.name) for s in left])
    sites = plural(len(left), "site", "sites")
    each = dict.fromkeys(mark for s in left for mark in s.lacks)
    where = {mark: listed([spoken(s.name) for s in left if mark in s.lacks]) for mark in each}
    why = listed([MAPPED[w][0] if place == names else f"at {place} {MAPPED[w][0]}" for w, place in where.items()])
    remedies = [MAPPED[mark][1] for mark in each]
    jobs = counted(sum(s.jobs for s in left), "repaired job")
    where_counted = f"Where {of} are counted, the" if of else "The"
    without = f"jobs of {sites} {names} ({jobs} in all) are left out, as it cannot be told {what}: {why}."
    said = f"{CANNOT}{what} at {sites} {names}, as {why}." if alone else " ".join((where_counted, without))
    return Sentence(
        " ".join((said, *remedies)), (BY_SITE,) if alone else (), [f"{mark} of {names}" for mark in each],
        remedy=remedies,
    )
