"""What cannot be known is no data and never 0 %: classes without a fault written down, rates without any return."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.plots import plot
from tests.cases import some_slow
from tests.depots import depot_of

FIRST = datetime(2025, 1, 6, 9)
HANG = ["repeat", "workmanship", "new_fault"]
SHARES = ("rate", "share", "low", "high", "se", "raw", "hazard", "others", "difference", "ratio", "of_returns",
          "median_day", "incidence", "incidence_low", "incidence_high")
Change = dict[str, Any]


def jobs(*, twice: bool = True, **of_return: Any) -> dict[str, list[dict[str, Any]]]:
    """60 jobs; every third comes back after 5 days, with what `of_return` says of it."""
    made: list[dict[str, Any]] = []
    steps: list[dict[str, Any]] = []
    for n in range(60):
        at = FIRST + timedelta(hours=9 * n)
        made.append({"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": at, "closed_at": at,
                     "model": ("Marl-8", "Marl-10")[n % 2], "complaint": "display"})
        step, outcome = (("seat cable", ("fail", "pass")[n % 2]), ("close case", "fail"), ("fit part", "pass"))[n % 3]
        steps.append({"job_id": f"J{n}", "step": step, "outcome": outcome})
        if n % 6 < 2:
            steps.append({"job_id": f"J{n}", "step_seq": 2, "step": "tighten case", "outcome": outcome})
        if n % 3 == 0:
            again = at + timedelta(days=5)
            unit = f"U{n}" if twice else f"R{n}"
            made.append({**made[-1], "job_id": f"R{n}", "unit_id": unit, "opened_at": again, "closed_at": again,
                         "disposition": "not_economic", **of_return})
    end = FIRST + timedelta(days=150)
    made.append({"job_id": "END", "unit_id": "END", "opened_at": end, "closed_at": end})
    return {"jobs": made, "steps": steps}


@pytest.fixture(scope="module")
def unwritten() -> Iterator[Depot]:
    """`found` is null everywhere."""
    with depot_of(jobs()) as depot:
        yield depot


def described(answer: Answer) -> str:
    """What the picture of an answer says in its text alternative."""
    return str(plot(answer).to_dict()["description"])


def of_classes(depot: Depot, cause: Any) -> list[Answer]:
    return [
        depot.returns.curve(cause=cause), depot.returns.curve(by="model", cause=cause),
        depot.returns.hazard(cause=cause), depot.returns.compare_curves("model", cause=cause),
        depot.comebacks(window=30, where={"class": cause} if cause else None),
    ]


@pytest.mark.parametrize("cause", [["repeat"], ["repeat", "workmanship"], HANG, ["no_fault_found", "new_fault"]])
def test_classes_that_hang_on_the_fault_found_have_no_share(unwritten: Depot, cause: list[str]) -> None:
    for answer in of_classes(unwritten, cause):
        shares = [name for name in answer.table.columns if name in SHARES]
        assert shares
        assert answer.table.height
        assert answer.table.select(pl.col(shares).null_count().sum()).row(0) == (answer.table.height,) * len(shares)
        assert str(answer.notes[0]).startswith("Cannot be told: ")
        assert "“found”" in answer.notes[0]
        assert not any("chance would set their come-backs" in note for note in answer.notes)
    assert unwritten.returns.compare_curves("model", cause=cause).p_value is None


@pytest.mark.parametrize("cause", [["no_fault_found"], ["unknown"], ["unknown", *HANG]])
def test_classes_that_do_not_hang_on_it_are_told(unwritten: Depot, cause: list[str]) -> None:
    for answer in of_classes(unwritten, cause)[:4]:
        share = next(name for name in ("share", "raw", "rate") if name in answer.table.columns)
        assert answer.table[share].null_count() < answer.table.height


@pytest.mark.parametrize("cause", some_slow([["repeat"], HANG], 1))
def test_where_faults_are_written_down_all_is_told(cause: list[str]) -> None:
    with depot_of(jobs(found="display")) as depot:
        for answer in of_classes(depot, cause):
            share = next(name for name in ("share", "raw", "rate") if name in answer.table.columns)
            assert answer.table[share].max() > 0  # type: ignore[operator]  # a column of numbers


def test_the_classes_of_the_table_that_cannot_be_told_are_no_data(unwritten: Depot) -> None:
    causes = unwritten.returns.classes(window=90).table
    shares = [name for name in causes.columns if name in SHARES]
    assert set(causes.filter(pl.col("class").is_in(HANG)).select(shares).row(0)) == {None}
    assert causes.filter(pl.col("class") == "unknown").select("returned", "of_returns").row(0) == (20, 1.0)
    by_class = unwritten.comebacks(window=30, by="class").table
    assert by_class.filter(pl.col("class").is_in(HANG)).select("rate", "low", "high").null_count().row(0) == (3, 3, 3)
    assert by_class.filter(~pl.col("class").is_in(HANG))["rate"].null_count() == 0


def test_a_cluster_of_unwritten_faults_does_not_say_unknown(unwritten: Depot) -> None:
    clusters = unwritten.steps.clusters(smallest=5)
    assert clusters.table.height
    assert "a come-back whose fault is not written down " in " ".join(clusters.table["marks"])
    assert not clusters.table["marks"].str.contains("unknown").any()
    assert any(str(n).startswith("Cannot be told: what was found when these jobs came back") for n in clusters.notes)


@pytest.mark.parametrize("by", [(), ("model",), ("class",), ("model", "month")])
def test_where_no_unit_is_there_twice_no_rate_is_told(by: tuple[str, ...]) -> None:
    with depot_of(jobs(twice=False)) as depot:
        answer = depot.comebacks(window=30, by=by)
    assert answer.table.height
    assert answer.table.select("rate", "low", "high").null_count().row(0) == (answer.table.height,) * 3
    assert "no unit appears in more than one job" in answer.notes[0]


@pytest.mark.parametrize("cause", some_slow([None, "unknown", ["repeat", "workmanship"]], 1))
def test_where_no_unit_is_there_twice_no_curve_is_told(cause: Any) -> None:
    """Come-backs of any class too: a curve that lies on 0 would say that nothing comes back."""
    with depot_of(jobs(twice=False)) as depot:
        for answer in (*of_classes(depot, cause)[:4], depot.returns.days_until(), depot.returns.recurrences()):
            floats = answer.table.select(pl.col(pl.Float64))
            assert answer.table.height
            assert set(floats.null_count().row(0)) == {answer.table.height}, type(answer)
            assert "no unit appears in more than one job" in answer.notes[0]
            assert described(answer).startswith(f"{answer.question}. Cannot be told: ")


def test_a_unit_that_is_there_twice_makes_0_of_n_a_rate() -> None:
    """One unit came twice, but after more than the window: 0 % is what was seen."""
    late = jobs(twice=False)
    late["jobs"].append({"job_id": "L", "unit_id": "U0", "opened_at": FIRST + timedelta(days=100)})
    with depot_of(late) as depot:
        assert depot.comebacks(window=30).table["rate"].to_list() == [0.0]
