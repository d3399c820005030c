"""Where the sites that can tell come-backs by class did less than half of the jobs, come-backs of any class count."""

import random
from typing import Any

import pytest

from rqa.answers.comebacks.counted import counted_comebacks
from rqa.contract import CLASSES, OWN_WORK
from tests.depots import depot_of
from tests.review.good_or_bad import DAY, Tables, made

BARE = "Birch"
OF_ANY = "So come-backs of any class are compared."


def without_logs(share: float) -> Tables:
    """Such a share of the units goes to a site that logs no step; what was found is written down at both."""
    rng, tables = random.Random(3), made(bad=True, jobs=150)
    units = sorted({j["unit_id"] for j in tables["jobs"]})
    bare = set(rng.sample(units, round(share * len(units))))
    jobs = [j | {"site": BARE if j["unit_id"] in bare else "Alder"} for j in tables["jobs"]]
    logged = {j["job_id"] for j in jobs if j["site"] != BARE}
    return {**tables, "jobs": jobs, "steps": [r for r in tables["steps"] if r["job_id"] in logged]}


@pytest.mark.parametrize(("share", "any_class"), [(0.2, False), (0.4, False), (0.6, True), (0.8, True)])
def test_half_of_the_jobs_decides(share: float, any_class: bool) -> None:
    with depot_of(without_logs(share), DAY) as depot:
        found = counted_comebacks(depot._snapshot, 30)
        told: dict[str, Any] = {"bare": depot.comebacks(where={"site": BARE}).table.row(0, named=True)}
        power = depot.actions.power()
    said = " ".join(found.notes)
    assert found.any_class == any_class
    assert found.classes == (CLASSES if any_class else OWN_WORK)
    assert found.mark == (", of any class" if any_class else "")
    assert f"at site {BARE}" in said or f"on what the job had worked on are counted, the jobs of site {BARE}" in said
    assert "most jobs have no step log" in said
    assert (OF_ANY in said) == any_class
    assert said.startswith("Cannot be told: ") == any_class
    assert ("are left out" in said) == (not any_class)
    assert told["bare"]["jobs"] > 0
    assert str(power.settings["outcome"]).startswith("come-backs of any class" if any_class else "come-backs on own")


def test_the_findings_say_so() -> None:
    """Every finding about come-backs is of any class, and the note stands among those of the month."""
    with depot_of(without_logs(0.7), DAY) as depot:
        answer = depot.findings("2025-05")
    assert any(OF_ANY in note and BARE in note for note in answer.notes)
    kinds = {f.kind for f in answer.stated if f.kind.startswith(("come-backs by", "burst of come-backs"))}
    assert len(kinds) > 1
    assert all(kind.endswith(", of any class") for kind in kinds)
