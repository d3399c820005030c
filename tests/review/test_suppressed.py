"""Small groups cannot be had from what is shown: held against linear algebra of another kind, on any table."""

from datetime import date
from typing import Any, cast

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.compare.comparison import ABOVE, ALIKE, BELOW, TOO_LITTLE, Comparison
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.ground_list import GROUNDS
from rqa.answers.core.grounds import Grounds
from rqa.answers.improve.findings import MonthFindings
from rqa.review.compare.people import FEWEST, HIDDEN, UNCOUNTED, people
from rqa.review.figures import enough
from rqa.review.suppressed import Sum, left_out

LEAST = 5
COUNTS = st.integers(0, 40)


def solvable(sums: list[Sum], unknown: set[int]) -> set[int]:
    """The unknown counts that the equations fix: adding "this one is 0" does not raise the rank."""
    places = sorted(unknown)
    system = np.zeros((len(sums), len(places)))
    for row, one in zip(system, sums, strict=True):
        for place, sign in ((one.total, -1), *((p, 1) for p in one.parts)):
            if place in unknown:
                row[places.index(place)] += sign
    rank = np.linalg.matrix_rank(system) if system.size else 0
    found = set()
    for i, place in enumerate(places):
        unit = np.zeros(len(places))
        unit[i] = 1
        if np.linalg.matrix_rank(np.vstack([system, unit])) == rank:
            found.add(place)
    return found


def assert_kept(counts: list[int], sums: list[Sum], known: set[int], unseen: set[int]) -> frozenset[int]:
    """No count that is left out can be solved, but where a reader knows of a total that is a small group itself."""
    hidden = left_out(counts, sums, LEAST, known=known, unseen=unseen)
    assert {i for i, n in enumerate(counts) if 0 < n < LEAST} - known <= hidden
    assert not hidden & known
    unknown = set(hidden) | unseen
    if all(counts[k] >= LEAST for k in known):
        assert not solvable(sums, unknown) & hidden, (counts, hidden)
    for one in sums:
        # What a shown total leaves beside its shown parts is no small group, unless there is nothing more to hide.
        gap = sum(counts[p] for p in one.parts if p in unknown)
        free = {p for p in one.parts if p not in unknown and counts[p]} | ({one.total} - known)
        if {one.total, *one.parts} & hidden and one.total not in unknown and free:
            assert not 0 < gap < LEAST, (counts, hidden)
    return hidden


@given(st.lists(COUNTS, min_size=1, max_size=8), st.booleans())
def test_groups_of_one_total(groups: list[int], total_known: bool) -> None:
    total = len(groups)
    counts, sums = [*groups, sum(groups)], [Sum(total, tuple(range(total)))]
    hidden = assert_kept(counts, sums, {total} if total_known else set(), set())
    if not any(0 < n < LEAST for n in counts):
        assert not hidden
    large = [n for n in groups if n >= LEAST]
    if hidden and sum(n > 0 for n in groups) > 1:
        # Then nothing small can be computed at all, and no more than one large group was left out for it.
        assert not solvable(sums, set(hidden)) or total in hidden
        assert sum(groups[i] >= LEAST for i in hidden if i != total) <= min(1, len(large))


@given(st.integers(2, 4), st.integers(2, 4), st.data())
def test_groups_in_two_ways_with_the_totals_of_both(rows: int, columns: int, data: st.DataObject) -> None:
    grid = np.array(data.draw(st.lists(COUNTS, min_size=rows * columns, max_size=rows * columns))).reshape(
        rows, columns
    )
    counts = [*grid.ravel().tolist(), *grid.sum(1).tolist(), *grid.sum(0).tolist(), int(grid.sum())]
    cells, of_rows, end = rows * columns, rows * columns + rows, len(counts) - 1
    sums = [Sum(cells + r, tuple(range(r * columns, (r + 1) * columns))) for r in range(rows)]
    sums += [Sum(of_rows + c, tuple(range(c, cells, columns))) for c in range(columns)]
    sums += [Sum(end, tuple(range(cells, of_rows))), Sum(end, tuple(range(of_rows, end)))]
    known = {end} if data.draw(st.booleans()) else set()
    assert_kept(counts, sums, known, set())


@given(COUNTS, COUNTS, COUNTS, COUNTS)
def test_people_told_apart_where_everybody_knows_how_many_there_are(
    above: int, below: int, alike: int, too_little: int
) -> None:
    judged = above + below + alike
    counts = [judged, above, below, too_little, alike, judged + too_little]
    assert_kept(counts, [Sum(0, (1, 2, 4)), Sum(5, (0, 3))], {5}, {4})


@pytest.mark.parametrize(
    ("groups", "hidden"),
    [
        ([30, 40, 50], set()),
        ([3, 30, 40], {0, 1}),  # one alone follows from the total; the smallest of the others goes with it
        ([1, 1, 30, 40], {0, 1, 2}),  # two that make 2 are 1 each
        ([4, 4, 30], {0, 1}),  # of two that make 8 neither is known
        ([0, 3, 30], {1, 2}),  # nobody is no group to hide behind
        ([3, 0, 0], {0}),  # all that the total holds
    ],
)
def test_what_is_left_out(groups: list[int], hidden: set[int]) -> None:
    total = len(groups)
    counts, sums = [*groups, sum(groups)], [Sum(total, tuple(range(total)))]
    assert left_out(counts, sums, LEAST, known={total}) == hidden


VERDICTS = (ABOVE, BELOW, ALIKE, TOO_LITTLE)


class Compared:
    """A depot of which only comparisons of people are known, each with these verdicts."""

    people = frozenset({"technician"})

    def __init__(self, verdicts: list[str]) -> None:
        self.table = pl.DataFrame({"technician": [f"T{n}" for n in range(len(verdicts))], "verdict": verdicts})

    def compare(self, who: str, *_: Any, **__: Any) -> Any:
        empty = pl.DataFrame(schema={who: pl.String, "verdict": pl.String})
        return Comparison(self.table if who == "technician" else empty, {"who": who})

    def grounds(self) -> Grounds:
        return Grounds(frozenset(GROUNDS), 30)


@given(st.lists(st.sampled_from(VERDICTS), min_size=FEWEST, max_size=40))
def test_the_page_gives_no_small_number_of_people(verdicts: list[str]) -> None:
    section = people(cast(Any, Compared(verdicts)), (date(2025, 1, 1),) * 2, MonthFindings(pl.DataFrame(), {}))
    by = {v: verdicts.count(v) for v in VERDICTS}
    counts = [len(verdicts) - by[TOO_LITTLE], by[ABOVE], by[BELOW], by[TOO_LITTLE], by[ALIKE], len(verdicts)]
    rows = [r for r in section.tables[0].rows if r[0].startswith("people")]
    assert len(rows) == 2
    for row in rows:
        unknown = {i for i, cell in enumerate(row[1:5]) if cell == HIDDEN}
        assert [cell for i, cell in enumerate(row[1:5]) if i not in unknown] == [
            str(n) for i, n in enumerate(counts[:4]) if i not in unknown
        ]
        assert {i for i in range(4) if 0 < counts[i] < FEWEST} <= unknown
        told = solvable([Sum(0, (1, 2, 4)), Sum(5, (0, 3))], unknown | {4})
        assert not {i for i in told if 0 < counts[i] < FEWEST}
        assert (UNCOUNTED in section.notes) == bool(unknown)
        if 0 in unknown:
            assert not any(ch.isdigit() for ch in section.words[0])


def test_a_group_left_out_cannot_be_had_from_the_whole() -> None:
    """Of three kinds of work one is small: with the whole known, the smaller of the others is left out with it."""
    sizes = pl.DataFrame({"model": ["a", "b", "c"], "matured": [SMALLEST - 1, 60, 50]})
    kept, left = enough(Comebacks(sizes, {}), "matured")
    assert (kept.table["model"].to_list(), left) == (["b"], 2)
    all_large = Comebacks(sizes.with_columns(pl.lit(SMALLEST).alias("matured")), {})
    assert enough(all_large, "matured")[1] == 0
