"""No span of months on a page begins before the first day with data, whichever month is asked."""

import re
from datetime import date

import pytest

from rqa.answers.improve.contrast_families import held_of
from rqa.review.describe import describe
from rqa.words import month_name
from tests.depots import depot_of
from tests.review.made_depot import FIRST_DAY, made_tables

MONTHS = [month_name(date(2024, m, 1)).split()[0] for m in range(1, 13)]
SPAN = re.compile(rf"\b({'|'.join(MONTHS)}) (\d{{4}}) (?:to|up to|until) (?:{'|'.join(MONTHS)}) \d{{4}}")


@pytest.mark.parametrize("asked", ["2024-01", "2024-04"])
def test_no_span_begins_before_the_data(asked: str) -> None:
    """The data begins on the third of its month, so that the first of it lies before all days with data."""
    assert FIRST_DAY.day > 1
    tables = made_tables(jobs=200, days=150)
    with depot_of(tables) as depot:
        said = repr(describe(depot, asked))
    begins = {date(int(year), MONTHS.index(name) + 1, 1) for name, year in SPAN.findall(said)}
    assert asked == "2024-01" or begins
    assert all(day >= date(2024, 1, 1) for day in begins), sorted(begins)[:3]


def test_a_span_is_cut_at_the_month_of_the_first_day() -> None:
    span = date(2023, 5, 1), date(2024, 4, 1)
    assert held_of(span, None) == span
    assert held_of(span, date(2024, 1, 3)) == (date(2024, 1, 1), date(2024, 4, 1))
    assert held_of(span, date(2024, 4, 30)) == (date(2024, 4, 1), date(2024, 4, 1))
    assert held_of(span, date(2024, 6, 1)) == span
