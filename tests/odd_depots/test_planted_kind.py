"""The kind of work that was made to come back most is named where nobody knows which come-backs the work caused."""

from pathlib import Path

import pytest

import rqa
from tests.odd_depots.depots import write_workspace

UNTOUCHED = ("jobs only", "jobs and steps", "no steps", "no procedures.subsystems")
"""Depots in which nobody knows what a job had worked on."""
FEW = ("jobs only", "no steps")
"""Those of them that have little to compare."""
LEFT = (*UNTOUCHED, "no jobs.found")
PLANTED = {"model": "Zéphyr Électrique, 2", "procedure": "pneu + frein"}


@pytest.mark.parametrize("name", [LEFT[0], *(pytest.param(name, marks=pytest.mark.slow) for name in LEFT[1:])])
def test_it_is_the_surest_whatever_else_is_missing(name: str, tmp_path: Path) -> None:
    workspace = write_workspace(name, tmp_path)
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        found = depot.findings("2025-08")
        by_class = (depot.comebacks(window=90, by="class"), depot.returns.classes(window=90), depot.costs(by="class"))
        rates = depot.comebacks(window=30, by=("model", "procedure"), months=("2024-06", "2025-07")).table
    highest = rates.sort("rate", descending=True).row(0, named=True)
    assert {k: highest[k] for k in PLANTED} == PLANTED, "planted"
    kinds = [f for f in found.stated if f.kind.startswith("come-backs by kind of work")]
    surest = min(kinds, key=lambda f: f.p_value)
    assert (surest.scope, surest.worse) == (PLANTED, True)
    assert surest.p_value < 0.001
    # 18 of 43 jobs beside 33 of 209: told among few comparisons; not clear among those of all steps and people, too.
    assert (surest in (*found.findings, *found.signs)) is (name in FEW)
    assert found.counted
    untouched = name in UNTOUCHED
    assert found.counted.any_class is (untouched or name == "no jobs.found")
    assert (found.counted.untouched is not None) is untouched
    for answer in by_class:
        assert any("counted as new faults" in note for note in answer.notes) is untouched, type(answer).__name__
