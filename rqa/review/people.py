"""The page's section on people and places: how many differ from what their work brings; people are never named."""

from datetime import date

from rqa.answers.comparison import ABOVE, ALIKE, BELOW, TOO_LITTLE
from rqa.review.asked import Asked
from rqa.review.facts import Section, Table
from rqa.words import count, listed, spoken

COMPARED = (
    ("site", "comeback", "sites: come-backs on own work"),
    ("bench", "comeback", "benches: come-backs on own work"),
    ("technician", "comeback", "people: come-backs on own work"),
    ("technician", "first_pass", "people: failed first checks"),
    ("station", "first_run", "test stations: failed first runs"),
)
PERSON = "technician"
FEWEST = 5
"""People below which even a count of them says who is meant; common practice, no source."""
HEADING = "People and places"
HEADS = ("who, and what", "compared", "more than their work brings", "fewer", "too little work to say", "which")
CAUTION = (
    "Each is set against what the same mix of work brings in the whole depot, and the verdicts of a row allow for how "
    "many it compares. Figures about people are for coaching and for changing the process, and subject to local labour "
    "and privacy law: single persons are not named here."
)


def people(depot: Asked, span: tuple[date, date]) -> Section:
    """Who differs over the months `span`, counted; places are named."""
    rows, left = [], ""
    for who, outcome, said in COMPARED:
        where = OWN_WORK if outcome == "comeback" else None
        compared = depot.compare(who, outcome, where=where, months=span).table.select(who, "verdict").rows()
        told = [verdict for _, verdict in compared]
        if who == PERSON and 0 < len(told) < FEWEST:
            left = f"With fewer than {FEWEST} people, a count would name them: people are not compared here."
            continue
        judged = len(told) - told.count(TOO_LITTLE)
        apart = [spoken(name) for name, verdict in compared if verdict in (ABOVE, BELOW)]
        numbers = (judged, told.count(ABOVE), told.count(BELOW), told.count(TOO_LITTLE))
        rows.append((said, *map(count, numbers), "–" if who == PERSON else listed(apart) or "–"))
    if all(r[1] == "0" for r in rows):
        words = "There is too little work to say who differs."
    elif any(r[2] != "0" or r[3] != "0" for r in rows):
        words = "Some differ from what their work brings."
    else:
        words = f"All who can be judged are {ALIKE}."
    notes = (CAUTION, left) if left else (CAUTION,)
    return Section("people", HEADING, (words,), notes=notes, tables=(Table("How many differ", HEADS, tuple(rows), 1),))
