"""Small groups kept from the page: not shown, and not to be had from the totals and groups that are shown.

A number that is left out follows from a total and its other parts where it is the only one left out. So more is left
out (complementary suppression) until no number left out is determined by the others, and what a total leaves when its
shown parts are taken from it is no small group either.

Source: L. Willenborg and T. de Waal, Elements of Statistical Disclosure Control, 2001 (from memory).
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Sum:
    """A total and its parts, as places in a list of counts."""

    total: int
    parts: tuple[int, ...]


def left_out(
    counts: Sequence[int],
    sums: Sequence[Sum],
    min_cases: int,
    *,
    known: Collection[int] = (),
    unseen: Collection[int] = (),
) -> frozenset[int]:
    """The places of the counts that must not be shown.

    Every count from 1 to `min_cases` - 1 is among them; 0 says that there is nobody, and is shown. `known` are counts
    that a reader knows anyway, and that hiding would not help; `unseen` those that are shown nowhere, though they may
    follow from others. Of what may be left out in addition, the smallest counts are taken first. Where nothing is left
    to be left out a small group is as good as known, since it is all that its total holds.
    """
    hidden = {i for i, n in enumerate(counts) if 0 < n < min_cases and i not in known}
    while True:
        more = _more(counts, sums, min_cases, hidden, frozenset(unseen) - hidden, known)
        if more is None:
            return frozenset(hidden)
        hidden.add(more)


def shown_groups(sizes: Sequence[int], min_cases: int) -> list[bool]:
    """Which groups of one whole may be shown, where the whole is known: no small one, and none that gives one away."""
    whole = len(sizes)
    hidden = left_out([*sizes, sum(sizes)], [Sum(whole, tuple(range(whole)))], min_cases, known={whole})
    return [n >= min_cases and i not in hidden for i, n in enumerate(sizes)]


def _more(
    counts: Sequence[int],
    sums: Sequence[Sum],
    min_cases: int,
    hidden: Collection[int],
    unseen: Collection[int],
    known: Collection[int],
) -> int | None:
    """One count more to be left out, or None."""
    unknown = {*hidden, *unseen}
    told = determined(sums, unknown)
    for one in sums:
        places = {one.total, *one.parts}
        gap = [p for p in one.parts if p in unknown]
        small = one.total not in unknown and 0 < sum(counts[p] for p in gap) < min_cases
        if places & set(hidden) and (small or places & set(hidden) & told):
            free = [p for p in one.parts if p not in unknown and p not in known and counts[p]]
            if free:
                return min(free, key=lambda p: (counts[p], p))
            if one.total not in unknown and one.total not in known and counts[one.total]:
                return one.total
    return None


def determined(sums: Iterable[Sum], unknown: Collection[int]) -> set[int]:
    """Which of the unknown counts follow from the known ones by the sums alone."""
    places = sorted(unknown)
    rows = []
    for one in sums:
        row = dict.fromkeys(places, Fraction(0))
        for place, sign in ((one.total, -1), *((p, 1) for p in one.parts)):
            if place in row:
                row[place] += sign
        rows.append([row[p] for p in places])
    reduced = _reduced(rows)
    # A count follows where a row of the reduced form holds it alone.
    return {places[held[0]] for row in reduced if len(held := [i for i, x in enumerate(row) if x]) == 1}


def _reduced(rows: list[list[Fraction]]) -> list[list[Fraction]]:
    """The reduced row echelon form, exactly."""
    rows, done = [list(r) for r in rows], 0
    for column in range(len(rows[0]) if rows else 0):
        pivot = next((i for i in range(done, len(rows)) if rows[i][column]), None)
        if pivot is None:
            continue
        rows[done], rows[pivot] = rows[pivot], rows[done]
        rows[done] = [x / rows[done][column] for x in rows[done]]
        for i, row in enumerate(rows):
            if i != done and row[column]:
                rows[i] = [x - row[column] * y for x, y in zip(row, rows[done], strict=True)]
        done += 1
    return rows
