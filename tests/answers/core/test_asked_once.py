"""Dear questions are worked once while a store is open: the same answers, each with tables of its own."""

import inspect
from dataclasses import fields
from datetime import datetime

import polars as pl
import pytest

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.compare.comparison import compare
from rqa.errors import RequestError
from tests.depots import depot_of

JOBS = [
    {"job_id": f"J{i}", "unit_id": f"U{i % 30}", "site": "Alder" if i % 3 else "Birch", "technician": f"T{i % 4}",
     "opened_at": datetime(2026, 1 + i % 5, 1 + i % 27, 8), "closed_at": datetime(2026, 1 + i % 5, 1 + i % 27, 17)}
    for i in range(90)
]
ASKED = [
    (comebacks, {}), (comebacks, {"by": ("site",)}), (comebacks, {"by": "site", "where": {"technician": ["T1"]}}),
    (comebacks, {"window": 60, "months": ("2026-02", "2026-03")}), (compare, {"who": "technician"}),
    (compare, {"who": "site", "mix": ()}),
]


def assert_same(one, other):
    for field in fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, pl.DataFrame):
            assert a.equals(b)
        else:
            assert repr(a) == repr(b)


@pytest.mark.parametrize("as_of", ["2026-04-15", "2026-05-20"])
def test_the_answer_is_that_of_the_question_itself(as_of):
    """Each asked twice among the others, beside the function below it, which keeps nothing."""
    with depot_of({"jobs": JOBS}, as_of=as_of) as depot:
        snapshot = depot._snapshot
        alone = [inspect.unwrap(ask)(snapshot, **how) for ask, how in ASKED]
        for _ in range(2):
            for (ask, how), bare in zip(ASKED, alone, strict=True):
                assert_same(ask(snapshot, **how), bare)


def test_it_is_worked_once_until_the_store_forgets(monkeypatch):
    with depot_of({"jobs": JOBS}) as depot:
        made = []
        once = depot._store.once
        monkeypatch.setattr(
            depot._store, "once",
            lambda kind, asked, make, **how: once(kind, asked, lambda: made.append(kind) or make(), **how),
        )
        for _ in range(3):
            depot.comebacks(by="site", where={"technician": ["T1"]})
        assert made.count("answers") == 1
        depot.comebacks(by="technician", where={"technician": ["T1"]})
        assert made.count("answers") == 2
        depot._store.forget()
        depot.comebacks(by="site", where={"technician": ["T1"]})
        assert made.count("answers") == 3


def test_who_changes_a_table_changes_no_other_answer():
    with depot_of({"jobs": JOBS}) as depot:
        first = depot.comebacks(by="site").table
        jobs = first["jobs"].to_list()
        first[0, "jobs"] = 1_000_000
        assert depot.comebacks(by="site").table["jobs"].to_list() == jobs


def test_what_is_wrong_is_said_as_before():
    with depot_of({"jobs": JOBS}) as depot:
        with pytest.raises(TypeError, match=r"comebacks\(\) got an unexpected keyword argument 'sites'"):
            depot.comebacks(sites="Alder")
        for _ in range(2):
            with pytest.raises(RequestError, match="window"):
                depot.comebacks(window=-1)
        assert depot.comebacks(where={"site": iter(["Alder"])}).table.height == 1

