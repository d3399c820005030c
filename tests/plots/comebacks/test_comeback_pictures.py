"""Pictures of come-backs in depth: each compiles offline, says its key numbers, shows size and doubt."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.pictures import pictures
from rqa.plots.renderer import compiled, still
from tests.depots import depot_of
from tests.review.made_depot import made_tables

ASKED: dict[str, Callable[[Depot], Answer]] = {
    "curve": lambda d: d.returns.curve(upto=60),
    "curves by model": lambda d: d.returns.curve(by="model", upto=60, cause="repeat"),
    "hazard": lambda d: d.returns.hazard(upto=40),
    "recurrences": lambda d: d.returns.recurrences(by="site", upto=200),
    "difference": lambda d: d.returns.recurrence_difference("site", groups=("Alder", "Birch"), upto=200),
    "causes": lambda d: d.returns.classes(by="site", window=90),
    "marks": lambda d: d.returns.marks(window=90),
    "comparison": lambda d: d.returns.compare_curves("model", window=30),
    "until": lambda d: d.returns.days_until(by="model", share=0.04),
    "trends": lambda d: d.returns.trends(by="model"),
    "chronic": lambda d: d.returns.chronic_units(),
    "worst": lambda d: d.returns.worst_share(by="site"),
    "cohorts": lambda d: d.returns.cohorts(upto=6),
    "cohorts by site": lambda d: d.returns.cohorts(by="site", upto=3),
    "matrix": lambda d: d.returns.matrix(named="repaired", window=90),
    "projection": lambda d: d.projection(90),
    "projection by site": lambda d: d.projection(30, by="site"),
    "back-test": lambda d: d.returns.projection_backtest(90),
    "back-test of 30 days": lambda d: d.returns.projection_backtest(30),
    "indices": lambda d: d.returns.indices(),
}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    # Nine units come back a second and third time, so that lists of repeated returns are not empty.
    tables = made_tables(jobs=700, days=400)
    again = [j for j in tables["jobs"] if j["job_id"].startswith("R")][:9]
    for n, job in enumerate(again):
        shift = 40 + 3 * n
        later = {k: v.replace(year=2025, month=3, day=1 + shift % 28) for k, v in job.items() if k.endswith("_at")}
        tables["jobs"].append({**job, **later, "job_id": f"X{n}"})
    with depot_of(tables, as_of="2025-03-12") as opened:
        yield opened


def test_every_answer_is_drawn_here(depot: Depot) -> None:
    assert {type(ask(depot)) for ask in ASKED.values()} == {
        kind for kind, picture in pictures().items()
        if picture.draw.__module__ in ("rqa.plots.comebacks.by_days", "rqa.plots.comebacks.projection",
                                       "rqa.plots.comebacks.rows", "rqa.plots.heat")
    }


@pytest.mark.parametrize("name", ASKED)
def test_every_picture_compiles_and_is_the_same_twice(depot: Depot, name: str) -> None:
    answer = ASKED[name](depot)
    assert answer.table.height
    spec = plot(answer).to_dict()
    assert json.dumps(spec, sort_keys=True) == json.dumps(plot(answer).to_dict(), sort_keys=True)
    assert json.dumps(compiled(spec)) == json.dumps(compiled(spec))
    svg = still(plot(answer, selection=False).to_dict())
    assert "http" not in svg.replace("http://www.w3.org", "")
    assert "NaN" not in svg
    assert "None" not in spec["description"]
    assert len(spec["description"]) > 60
    assert "e+" not in svg.split("<text", 1)[1].replace("pre+", "")


@pytest.mark.parametrize("name", ASKED)
def test_an_empty_answer_says_no_data(depot: Depot, name: str) -> None:
    answer = ASKED[name](depot)
    spec = plot(replace(answer, table=answer.table.clear())).to_dict()
    assert "no data" in spec["description"]


def rows(spec: Any) -> list[dict[str, Any]]:
    return list(spec["data"]["values"])


def test_projected_months_are_kept_apart_by_shape_and_word(depot: Depot) -> None:
    answer = depot.projection(90)
    spec = plot(answer).to_dict()
    young = answer.table.filter(answer.table["matured"] < answer.table["jobs"]).height
    assert young
    assert sum(r["young"] for r in rows(spec)) == young
    styles = {layer["mark"].get("style", "") for layer in spec["layer"]}
    assert {"rqa-dot", "rqa-hollow", "rqa-early", "rqa-interval", "rqa-size"} <= styles
    assert ">projected<" in still(spec)
    assert "Projected, not yet mature:" in spec["description"]


def test_cells_that_will_change_are_framed(depot: Depot) -> None:
    answer = depot.returns.cohorts(upto=6)
    spec = plot(answer).to_dict()
    framed = [r for r in rows(spec["layer"][0] if "data" not in spec else spec) if not r["mature"]]
    assert len(framed) == answer.table.filter(~answer.table["mature"]).height > 0
    assert any(layer["mark"].get("strokeDash") for layer in spec["layer"])
    final = replace(answer, table=answer.table.filter(answer.table["mature"]))
    assert "dashed" in str(spec["title"])
    assert "dashed" not in str(plot(final).to_dict()["title"])


def test_numbers_at_risk_stand_under_every_tick(depot: Depot) -> None:
    spec = plot(depot.returns.curve(by="model", upto=60)).to_dict()
    own = [r for r in rows(spec) if r["kind"] == "own"]
    for panel in ("Marl-10", "Marl-8", "Quern"):
        assert {0, 10, 20, 30, 40, 50, 60} <= {r["day"] for r in own if r["panel"] == panel}


def test_many_groups_are_refused(depot: Depot) -> None:
    with pytest.raises(RequestError, match="groups are more than a picture"):
        plot(depot.returns.curve(by=("week",), upto=3))
