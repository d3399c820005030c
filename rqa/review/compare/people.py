"""The page's section on people and places: how many differ from what their work brings; people are never named."""

from datetime import date

from rqa.answers.compare.comparison import ABOVE, BELOW, TOO_LITTLE
from rqa.answers.core.ground_list import GROUNDS
from rqa.answers.core.needs import untold
from rqa.answers.improve.findings import MonthFindings
from rqa.depot import Depot
from rqa.review.facts import FigureScope, PageTable, Section
from rqa.review.suppressed import Sum, left_out
from rqa.review.texts import CANNOT_BE_TOLD
from rqa.words import count, counted, listed, spoken

COMPARED = (
    ("site", "comeback", "sites: come-backs {}"),
    ("bench", "comeback", "benches: come-backs {}"),
    ("technician", "comeback", "people: come-backs {}"),
    ("site", "first_pass", "sites: failed first checks"),
    ("bench", "first_pass", "benches: failed first checks"),
    ("tool", "first_pass", "tools: failed first checks"),
    ("technician", "first_pass", "people: failed first checks"),
    ("site", "first_run", "sites: failed first runs"),
    ("station", "first_run", "test stations: failed first runs"),
)
WINDOW = 30
FEWEST = 5
"""People below which even a count of them says who is meant; common practice, no source."""
HIDDEN = "not shown"
UNCOUNTED = f"A number below {FEWEST} people is not shown, nor is one from which it would follow."
HEADING = "People and places"
HEADS = ("who, and what", "compared", "more than their work brings", "fewer", "too little work to say", "which")
CAUTION = (
    "Each is set against what the same mix of work brings in the whole depot, and the verdicts of a row allow for how "
    "many it compares. “Where to look” allows for all comparisons of the month, and so may list fewer. Figures about "
    "people are for coaching and for changing the process, and subject to local labour and privacy law: single persons "
    "are not named here."
)


def people(depot: Depot, span: tuple[date, date], found: MonthFindings) -> Section:
    """Who differs over the months `span`, counted; places are named. `found` says which come-backs are counted."""
    rows, notes, lacks = list[tuple[str, ...]](), list[str]([CAUTION]), dict[tuple[str, ...], list[str]]()
    counted, comparisons, few = found.counted, list[tuple[int, int, bool]](), list[str]()
    words = list[str]()
    for who, outcome, said in COMPARED:
        which = counted.where if outcome == "comeback" and counted else None
        answer = depot.compare(who, outcome=outcome, where=which, window=WINDOW, months=span)
        name, none = said.format(counted.said if counted else "").strip(), untold(answer)
        compared = answer.table.select(who, "verdict").rows()
        told = [verdict for _, verdict in compared]
        if who in depot.people and 0 < len(told) < FEWEST:
            few.append(name)
            continue
        if none:
            if set(none.lacks) <= set(GROUNDS):
                lacks.setdefault(none.lacks, []).append(name)
            else:
                words.append(none)
            rows.append((name, *(CANNOT_BE_TOLD,) * 4, "–"))
            continue
        if len(told) == 1:
            words.append(f"Cannot be told: {name}, as only one {who} is left to compare.")
            rows.append((name, *(CANNOT_BE_TOLD,) * 4, "–"))
            continue
        judged = len(told) - told.count(TOO_LITTLE)
        apart = [spoken(name) for name, verdict in compared if verdict in (ABOVE, BELOW)]
        numbers = (judged, told.count(ABOVE), told.count(BELOW), told.count(TOO_LITTLE))
        if who in depot.people:
            hidden = _left_out(*numbers)
            rows.append((name, *(HIDDEN if i in hidden else count(n) for i, n in enumerate(numbers)), "–"))
            notes += [UNCOUNTED] if hidden else []
            comparisons.append((judged, len(apart), 0 not in hidden))
        else:
            rows.append((name, *map(count, numbers), listed(apart) or "–"))
            comparisons.append((judged, len(apart), True))
    there = depot.grounds()
    words = [_said(depot, comparisons), *dict.fromkeys(words)]
    words += [there.claim("", *lacking, about=listed(names)) for lacking, names in lacks.items()]
    if few:
        notes.append(f"Not shown, as a count of fewer than {FEWEST} people would name them: {listed(few)}.")
    notes += counted.notes if counted else ()
    table = PageTable("How many differ", HEADS, tuple(rows), 1)
    return Section(
        "people", HEADING, FigureScope(span, WINDOW), tuple(words), notes=tuple(dict.fromkeys(notes)), tables=(table,)
    )


def _left_out(judged: int, above: int, below: int, too_little: int) -> frozenset[int]:
    """Which of these numbers of people are not shown. How many people there are in all is known to whoever works there.

    Those not told apart from what their work brings are in no column, and still follow from the others.
    """
    alike, everybody = judged - above - below, judged + too_little
    numbers = (judged, above, below, too_little, alike, everybody)
    return left_out(numbers, (Sum(0, (1, 2, 4)), Sum(5, (0, 3))), FEWEST, known={5}, unseen={4})


def _said(depot: Depot, comparisons: list[tuple[int, int, bool]]) -> str:
    """What all comparisons say together: of each, how many were judged, how many differ, and whether that is shown."""
    if any(apart for _, apart, _ in comparisons):
        return "At least one differs from what its work brings."
    judged = sum(n for n, *_ in comparisons)
    # A sum over all would give away a number that is not shown.
    of = counted(judged, "comparison") if all(shown for *_, shown in comparisons) else "the comparisons made"
    return depot.grounds().claim(
        f"Of {of} none is told apart from what the same work brings; that is no proof of being alike.",
        "jobs", about="who differs", among=(judged, "groups with enough work"),
    )
