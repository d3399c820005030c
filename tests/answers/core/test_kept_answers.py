"""Answers kept beside their store: the same when they come back, and nothing but answers comes back."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from math import inf, nan
from pathlib import Path
from types import MappingProxyType
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

import rqa
from rqa.answers.core import kept_answers
from rqa.answers.core.grounds import Sentence
from rqa.answers.core.kept_answers import CannotBeKeptError, restored, written
from rqa.answers.core.result import Answer
from rqa.store.kept_beside import beside
from tests.answers.core.test_asked_once import JOBS, assert_same
from tests.depots import make_store

SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False), st.text(), st.dates(),
    st.datetimes().map(lambda at: at.replace(fold=0)),
)
PARTS = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner), st.lists(inner).map(tuple), st.dictionaries(SCALARS, inner),
        st.dictionaries(st.text(), inner).map(MappingProxyType),
        st.builds(Sentence, st.text(), st.lists(st.text()), st.lists(st.text())),
    ),
    max_leaves=12,
)


@given(PARTS)
def test_what_is_written_comes_back_of_the_same_kinds(part: Any) -> None:
    back = restored(written(part))
    assert repr(back) == repr(part)
    assert type(back) is type(part)
    if isinstance(part, Sentence):
        assert vars(back) == vars(part)


def test_numbers_that_are_none_and_tables_come_back() -> None:
    table = pl.DataFrame({
        "a": [1, None], "b": [0.1 + 0.2, nan], "c": [inf, -inf], "d": [date(2026, 5, 1), None], "e": ["x", ""],
        "f": [datetime(2026, 5, 1, 12, 0, 0, 7), None], "g": [["x"], []], "h": [True, None],
    })
    for each in (table, table.clear(), pl.DataFrame()):
        back = restored(written({"t": each, "n": nan}))
        assert isinstance(back, dict)
        assert back["t"].schema == each.schema
        assert back["t"].equals(each)
        assert back["n"] != back["n"]


@pytest.mark.parametrize("part", [
    object(), print, Path("x"), {1, 2}, b"x", pl.Series([1]), 1j, type, pytest, datetime(2026, 5, 1, fold=1),
    datetime(2026, 5, 1, tzinfo=UTC),
])
def test_what_is_no_part_of_an_answer_is_not_written(part: Any) -> None:
    with pytest.raises(CannotBeKeptError):
        written((part,))


@pytest.mark.parametrize("told", [
    ["part", "os", "system"], ["part", "rqa.answers.core.scope", "Sequence"], ["part", "rqa.demo", "Demo"],
    ["part", "rqa.answers.core.kept_answers", "written"], ["part", "rqa.answers..core", "Answer"],
    ["part", "rqa.answers.core.result", "Answer", ["table", 1], ["other", 2]],
    ["part", "rqa.answers.nowhere", "Answer"],
    ["part", "rqa.answers.core.result", "__builtins__"], ["part", "rqa.answers.steps.bursts", "Answer", ["table", 1]],
    ["table", "AAAA"], ["table", 5], ["date", "2026-13-01"], ["made"], [], [[]], ["dict", [["list"], 1]], {"a": 1},
])
def test_nothing_else_is_made_of_bytes(told: Any) -> None:
    """Other classes, functions, and parts that do not fit, from a file that somebody else has written."""
    found = restored(json.dumps(told).encode())
    assert found is None or found == {"a": 1}


@given(st.binary(max_size=200))
def test_any_bytes_are_read_without_an_error(content: bytes) -> None:
    made = restored(content)
    assert made is None or written(restored(written(made))) == written(made)


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(kept_answers, "DEAR", 0.0)
    return make_store(tmp_path / "depot.duckdb", {"jobs": JOBS})


def asked(path: Path) -> list[Answer]:
    with rqa.open(path, as_of="2026-05-20") as depot:
        return [
            depot.comebacks(by="site", where={"technician": ["T1"]}), depot.compare(who="technician"),
            depot.compare(who="site", mix=()), depot.steps.bursts(simulations=19), depot.findings("2026-04"),
            depot.verdicts(), depot.control_chart(),
        ]


def test_answers_that_come_back_are_those_that_were_made(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field alike, of answers and of the answers in them."""
    first = asked(path)
    assert beside(path).exists()
    monkeypatch.setattr("rqa.answers.steps.bursts.search", None)
    monkeypatch.setattr("rqa.answers.improve.findings._stated_in", None)
    for one, two in zip(asked(path), first, strict=True):
        assert_same(replace(one, asked_of=None), replace(two, asked_of=None))
        assert type(one.settings) is type(two.settings)
        assert [type(note) for note in one.notes] == [type(note) for note in two.notes]


def test_what_was_asked_of_another_day_is_worked_out(path: Path) -> None:
    asked(path)
    with rqa.open(path, as_of="2026-03-01") as depot:
        on_that_day = depot.comebacks(by="site").table
        depot._store.forget()
        assert on_that_day.equals(depot.comebacks(by="site").table)


def test_a_file_of_another_kind_beside_a_store_is_passed_over(path: Path) -> None:
    beside(path).write_bytes(b"something else")
    first = asked(path)
    beside(path).unlink()
    beside(path).mkdir()
    for one, two in zip(asked(path), first, strict=True):
        assert_same(replace(one, asked_of=None), replace(two, asked_of=None))
