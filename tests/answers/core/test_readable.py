"""Tables in notebooks: what a stranger reads in a cell, worked out by hand from the value beside it."""

import html
import re
from collections.abc import Iterator
from datetime import date, datetime
from operator import attrgetter

import polars as pl
import pytest

from rqa.answers.core.notebook_forms import sentences
from rqa.answers.core.readable import MOST_COLUMNS, columns_shown, readable_frame, readable_table
from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.errors import RqaError
from tests.depots import depot_of
from tests.odd_depots.questions import every_question

HARD = "\u00a0"


def cells(text: str) -> list[list[str]]:
    """The texts of a table, row by row, its head first."""
    rows = re.findall(r"<tr>(.*?)</tr>", text, re.S)
    return [[html.unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)] for row in rows]


def column(**values: list[object]) -> list[str]:
    return [row[-1] for row in cells(readable_table(pl.DataFrame(values)))[1:]]


@pytest.mark.parametrize(("values", "read"), [
    ({"rate": [0.058948, 0.0, 1.0, None]}, [f"5.9{HARD}%", f"0{HARD}%", f"100{HARD}%", "no data"]),
    ({"rate": [0.1], "low": [0.05]}, [f"5.0{HARD}%"]),
    ({"rate": [0.1], "ratio": [1.5], "low": [0.05]}, ["0.05"]),
    ({"rate": [0.1], "ratio": [1.5], "rate_high": [0.25]}, [f"25.0{HARD}%"]),
    ({"rate": [0.1], "p_value": [0.5], "low": [0.05]}, [f"5.0{HARD}%"]),
    ({"p_adjusted": [0.0004, 0.0421]}, ["under 0.001", "0.042"]),
    ({"share": [0.1], "difference": [-0.0104]}, ["−1.0 points"]),
    ({"ratio": [float("inf"), float("nan")]}, ["∞", "no data"]),
    ({"cost": [16406.36, 771.1]}, ["16,406", "771"]),
    ({"per_10000": [355.769, 0.0]}, ["355.8", "0.0"]),
    ({"unit": ["V", "s"], "mean": [0.39, 21.732522]}, ["0.39", "21.7"]),
    ({"month": [date(2026, 5, 1)]}, ["May 2026"]),
    ({"period": [date(2026, 5, 1), date(2026, 6, 1)]}, ["May 2026", "June 2026"]),
    ({"period": [date(2026, 5, 4), date(2026, 6, 1)]}, ["4 May 2026", "1 June 2026"]),
    ({"closed_on": [date(2026, 5, 1)]}, ["1 May 2026"]),
    ({"run_at": [datetime(2026, 5, 1, 9, 5)]}, ["1 May 2026, 09:05"]),
    ({"mature": [True, False]}, ["yes", "no"]),
    ({"jobs": [1234567]}, ["1,234,567"]),
    ({"load_id": [1234]}, ["1234"]),
    ({"class": ["no_fault_found"]}, ["no fault found"]),
    ({"job_id": ["A_1"]}, ["A_1"]),
    ({"model": ['<b>"x"</b>\x07']}, ['<b>"x"</b>␇']),
])
def test_what_is_read(values: dict[str, list[object]], read: list[str]) -> None:
    assert column(**values) == read


def test_a_figure_and_its_limits_have_the_same_decimals() -> None:
    table = pl.DataFrame({"ratio": [0.0], "low": [0.0], "high": [14.59]})
    assert cells(readable_table(table))[1] == ["0.0", "0.0", "14.6"]


def test_texts_stand_left_numbers_right_and_ids_are_not_broken() -> None:
    text = readable_table(pl.DataFrame({"unit_id": ["M10-000003-with-a-very-long-name-indeed"], "what": ["a b " * 20],
                                        "jobs": [3], "rate": [0.5]}))
    styles = re.findall(r'<td style="([^"]*)"', text)
    assert styles == ["text-align:left;white-space:nowrap", "text-align:left",
                      "text-align:right;white-space:nowrap", "text-align:right;white-space:nowrap"]


def test_a_frame_says_what_it_does_not_show() -> None:
    wide = pl.DataFrame({f"c{n}": [n] * 43 for n in range(12)})
    shown = readable_frame(wide)
    assert len(cells(shown)[0]) == MOST_COLUMNS
    assert len(cells(shown)) == 41
    assert "Not shown: 3 more rows; 2 more columns: c10, c11." in shown
    judged = readable_frame(wide.rename({"c11": "verdict"}))
    assert cells(judged)[0][-1] == "verdict"
    assert "2 more columns: c9, c10." in judged
    assert columns_shown(wide, ("c0", "c3", "c11")) == ("c1", "c2", *(f"c{n}" for n in range(4, 11)))


def test_sentences_and_findings_become_a_list() -> None:
    assert sentences(["a < b", "c"]) == "<ul><li>a &lt; b</li><li>c</li></ul>"
    assert sentences([1, 2]) is None
    assert sentences([]) is None


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    at = datetime(2026, 1, 5, 9)
    jobs = [{"job_id": f"J{n}", "unit_id": f"U{n}", "model": "M", "site": "S", "procedure": "P", "opened_at": at,
             "closed_at": at.replace(hour=17), "disposition": "repaired"} for n in range(3)]
    with depot_of({"jobs": jobs}) as made:
        yield made


def test_no_answer_shows_more_columns_than_are_read_and_each_names_real_ones(depot: Depot) -> None:
    """Names in `in_table_only` and `units` are those of the table; what judges is among what is shown."""
    looked = 0
    for name, how in every_question(depot):
        try:
            answer = attrgetter(name)(depot)(**how)
        except RqaError:
            continue
        if not isinstance(answer, Answer):
            continue
        looked += 1
        head = cells(answer._repr_html_())[0]
        assert len(head) <= MOST_COLUMNS, name
        columns = set(answer.table.columns)
        named = {*answer.in_table_only, *answer.units}
        assert named <= columns, (name, named - columns)
        if "verdict" in columns:
            assert "verdict" in head, name
    assert looked > 60
