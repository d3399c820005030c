"""The months that a page looks back on; none before the first day with data."""

from datetime import date

from rqa.answers.improve.contrast_families import Span, held_of, year_to
from rqa.depot import Depot
from rqa.measures.run import measure_sql


def first_day(depot: Depot) -> date | None:
    """The first day with data; None in an empty store."""
    first = depot.query(measure_sql("latest"))["first_on"][0]
    return first if isinstance(first, date) else None


def year_held(depot: Depot, month: date) -> Span:
    """First and last of the twelve months that end with this one, as far as there is data."""
    return held_of(year_to(month), first_day(depot))
