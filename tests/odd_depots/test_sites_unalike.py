"""A site whose system leaves out what others write changes no verdict on the others, and has none itself."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

import rqa
from rqa.answers.core.needs import untold
from rqa.depot import Depot
from rqa.review.steps.risky_steps import _bursts
from tests.odd_depots import depots
from tests.odd_depots.depots import OddDepot, write_workspace
from tests.odd_depots.workshop import SITES, Tables, healthy

KNOWN, OTHER = SITES
NAMES = [pytest.param("one site without found", marks=pytest.mark.slow)]
NAMES += [pytest.param(f"one site without {what}", marks=pytest.mark.long) for what in ("a step log", "diagnostics")]
OWN = ["repeat", "workmanship"]
LACKING = {
    "one site without found": "“found” of the jobs that came back",
    "one site without a step log": "no step log",
    "one site without diagnostics": "no diagnostics",
}


def _alone(tables: Tables) -> Tables:
    """Without the units of the other site; no unit is seen at both."""
    away = {row["unit_id"] for row in tables["jobs"] if row["site"] == OTHER}
    ids = {row["job_id"] for row in tables["jobs"] if row["unit_id"] in away}
    booked = {name: [r for r in tables[name] if r["job_id"] not in ids] for name in depots.BOOKED}
    return tables | {"jobs": [r for r in tables["jobs"] if r["job_id"] not in ids]} | booked


@pytest.fixture(scope="module", params=NAMES)
def pair(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[str, Depot, Depot]]:
    """What the other site lacks, the depot with it, and the depot without its units."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(depots, "_healthy", lambda: healthy(units=500))
        patch.setitem(depots.ODD_DEPOTS, "alone", OddDepot(_alone))
        folders: list[Path] = []
        for name in (request.param, "alone"):
            folders.append(write_workspace(name, tmp_path_factory.mktemp("sites")))
            rqa.load(folders[-1])
    with rqa.open(folders[0], as_of="2025-09-30") as both, rqa.open(folders[1], as_of="2025-09-30") as alone:
        yield request.param, both, alone


def of_own_work(depot: Depot) -> dict[str, Any]:
    asked = {"class": OWN}
    return {
        **{
            f"compare by {who}": depot.compare(who, outcome="comeback", where=asked, min_cases=5)
            for who in ("technician", "bench", "tool", "site")
        },
        "come-backs": depot.comebacks(window=60, by="model", where=asked),
        "come-backs by class": depot.comebacks(window=60, by="class"),
        "classes": depot.returns.classes(),
        "curve": depot.returns.curve(cause=OWN),
        "hazard": depot.returns.hazard(cause=OWN),
        "curves compared": depot.returns.compare_curves("model", cause=OWN),
        "after a step": depot.steps.relative_risk(),
        "attribution": depot.steps.attribution(),
        "bursts": depot.steps.bursts(simulations=19),
        "power": depot.actions.power(),
    }


def test_the_others_are_judged_as_if_it_were_not_there(pair: tuple[str, Depot, Depot]) -> None:
    lacking, both, alone = pair
    if lacking == "one site without diagnostics":
        pytest.skip("come-backs are known by class there")
    expected = of_own_work(alone)
    for name, answer in of_own_work(both).items():
        assert answer.table.equals(expected[name].table), name
        said = [note for note in answer.notes if "are left out, as it cannot be told" in note]
        assert len(said) == 1, name
        assert OTHER in said[0]
        assert LACKING[lacking] in said[0]
    found, without = both.findings("2025-07"), alone.findings("2025-07")
    assert found.counted
    assert without.counted
    assert found.counted.classes == without.counted.classes == tuple(OWN)
    each = [
        {
            (f.kind, f.where): (f.size, f.low, f.high, f.jobs, f.p_value)
            for f in answer.stated
            if f.kind.startswith(("come-backs by", "come-backs laid", "units that came back", "burst of come-backs"))
        }
        for answer in (found, without)
    ]
    assert len({kind for kind, _ in each[1]}) > 5
    assert each[0] == each[1]
    assert any(OTHER in note for note in found.notes)
    bursts = found.answers["bursts"]
    figure = _bursts(replace(bursts, table=bursts.table.with_columns(cases=pl.lit(20, pl.Int64))), frozenset())
    assert figure
    assert "Come-backs counted are those on what the job had worked on." in figure.reading


def of_marks(depot: Depot, lacking: str) -> dict[str, tuple[Any, list[str]]]:
    """Answers that hang on what a site writes down, and the columns (none: all) that its jobs may not move."""
    made: dict[str, tuple[Any, list[str]]] = {
        "failures met together": (depot.steps.co_failures(min_cases=3), []),
        "escapes": (depot.tests.escapes(), []),
        "escapes by subsystem": (depot.tests.escapes(by=("subsystem", "model")), []),
        "limits": (depot.tests.limits(), []),
    }
    worth = depot.tests.predictive_values()
    if lacking == "one site without found":
        return made | {
            "what a pass is worth": (worth, ["passes", "escaped", "pass_value", "pass_low", "pass_high"]),
            "coverage": (depot.tests.coverage_gap(), []),
            "complaint and finding": (depot.returns.matrix(), []),
            "repaired and finding": (depot.returns.matrix(named="repaired", by="model"), []),
            "marks": (depot.returns.marks(), []),
            "costs by class": (depot.costs(), []),
            "costs of classes": (depot.costs(by="model", where={"class": OWN}), []),
        }
    if lacking == "one site without a step log":
        fails = ["fails", "confirmed", "nothing_found", "undecided", "overkill", "low", "high", "fail_value"]
        return made | {"what a fail is worth": (worth, fails), "costs by class": (depot.costs(), [])}
    return {"failures met together": made["failures met together"], "coverage": (depot.tests.coverage_gap(), [])}


def test_what_hangs_on_a_mark_is_told_of_the_sites_that_write_it(pair: tuple[str, Depot, Depot]) -> None:
    lacking, both, alone = pair
    expected = of_marks(alone, lacking)
    for name, (answer, columns) in of_marks(both, lacking).items():
        there, (other, _) = answer.table.select(columns or answer.table.columns), expected[name]
        assert there.height, name
        assert there.equals(other.table.select(there.columns)), name
        said = [note for note in answer.notes if "are left out, as it cannot be told" in note]
        assert len(said) == 1, name
        assert OTHER in said[0], name
        assert LACKING[lacking] in said[0], name
        assert not any("are left out, as it cannot be told" in note for note in other.notes), name


def test_breaches_are_told_of_the_sites_with_logs(pair: tuple[str, Depot, Depot]) -> None:
    """Come-backs of any class count after a breach, so a site need not write down what was found, but its steps."""
    lacking, both, alone = pair
    there, expected = both.steps.breaches(), alone.steps.breaches()
    assert there.table.equals(expected.table) == (lacking == "one site without a step log")
    assert (there.unjudged > expected.unjudged) == (lacking == "one site without a step log")


def test_of_its_own_marks_nothing_is_told(pair: tuple[str, Depot, Depot]) -> None:
    lacking, both, _ = pair
    where = {"site": OTHER}
    answers: tuple[Any, ...] = (both.tests.coverage_gap(where=where),)
    if lacking != "one site without diagnostics":
        answers = (both.tests.escapes(where=where), both.tests.limits(where=where), both.costs(where=where))
    if lacking == "one site without found":
        answers += (both.returns.matrix(where=where), both.returns.marks(where=where))
    for answer in answers:
        said = untold(answer)
        assert said, type(answer)
        assert OTHER in said
        assert LACKING[lacking] in said
        floats = answer.table.select(pl.col(pl.Float64))
        assert floats.null_count().sum_horizontal().sum() == floats.height * floats.width, type(answer)


def test_of_itself_nothing_is_told(pair: tuple[str, Depot, Depot]) -> None:
    lacking, both, _ = pair
    if lacking == "one site without diagnostics":
        pytest.skip("come-backs are known by class there")
    answers = (
        both.comebacks(where={"site": OTHER, "class": OWN}),
        both.compare("technician", outcome="comeback", where={"site": OTHER, "class": OWN}),
        both.returns.curve(cause=OWN, where={"site": OTHER}),
        both.returns.compare_curves("model", cause=OWN, where={"site": OTHER}),
        both.steps.relative_risk(where={"site": OTHER}),
        both.steps.attribution(where={"site": OTHER}),
        both.steps.bursts(where={"site": OTHER}),
        both.actions.power({"site": OTHER}),
    )
    for answer in answers:
        said = untold(answer)
        assert said, type(answer)
        assert OTHER in said
        floats = answer.table.select(pl.col(pl.Float64))
        assert floats.null_count().sum_horizontal().sum() == floats.height * floats.width, type(answer)
    by_site = both.comebacks(by="site", where={"class": OWN}).table
    assert by_site["site"].to_list() == [KNOWN]
