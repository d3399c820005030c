"""Pictures of bursts, failures alike and failures met together: compiled offline, said in words, the same twice."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace

import polars as pl
import pytest

from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.plots import plot
from rqa.plots.renderer import still
from tests.answers.steps.made_failures import made_failures
from tests.depots import depot_of

ASKED: dict[str, Callable[[Depot], Answer]] = {
    "bursts": lambda d: d.steps.bursts(simulations=39),
    "bursts by month": lambda d: d.steps.bursts(period="month", dimensions=("time", "lot"), simulations=39),
    "clusters": lambda d: d.steps.clusters(smallest=10, resamples=2),
    "together": lambda d: d.steps.co_failures(min_cases=5),
}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(made_failures(), as_of="2025-10-01") as opened:
        yield opened


@pytest.mark.parametrize("name", ASKED)
def test_every_picture_compiles_says_its_numbers_and_can_be_empty(depot: Depot, name: str) -> None:
    answer = ASKED[name](depot)
    spec = plot(answer).to_dict()
    assert json.dumps(spec, sort_keys=True) == json.dumps(plot(answer).to_dict(), sort_keys=True)
    svg = still(plot(answer, selection=False).to_dict())
    assert "NaN" not in svg
    assert "None" not in spec["description"]
    assert len(spec["description"]) > 60
    empty = replace(answer, table=answer.table.clear())
    assert plot(empty).to_dict()["description"].split(": ")[1].startswith(("no data", "nothing"))


def test_a_burst_is_said_with_its_word_and_its_weeks(depot: Depot) -> None:
    said = plot(depot.steps.bursts(simulations=39)).to_dict()["description"]
    assert "lot L4 of P1, week 22 of 2025 to week 26 of 2025: burst" in said
    assert "echo of 1" in said


def test_pairs_beyond_luck_are_rows_or_when_many_half_a_matrix(depot: Depot) -> None:
    answer = depot.steps.co_failures(min_cases=5)
    assert "step: close case with step: seat board: " in plot(answer).to_dict()["description"]
    many = answer.table.head(12).with_columns(pl.lit("together more often").alias("verdict"))
    matrix = plot(replace(answer, table=many)).to_dict()
    assert "rect" in json.dumps(matrix)
    assert "step: close case with step: seat board" in matrix["description"]
    assert "NaN" not in still(matrix)
    luck = replace(answer, table=answer.table.filter(answer.table["verdict"] == "within chance variation"))
    assert "nothing beyond chance. " in plot(luck).to_dict()["description"]
