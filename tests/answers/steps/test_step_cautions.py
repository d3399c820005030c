"""What to look at next at a step: fit for any device, and naming a part only where a hazard says there is one."""

import re

import pytest

from rqa.answers.steps.step_cautions import CAUTIONS, CHECKS, LOOK_AT, next_check
from rqa.contract import HAZARDS, PHASES

PARTS = re.compile(r"cable|connector|screw|fastener|latch|batter|cell|board|display|hose|tighten|glue|seam")


def test_without_hazards_no_part_of_a_device_is_named() -> None:
    assert {phase: found for phase in (*PHASES, "") if (found := PARTS.findall(next_check(phase)))} == {}


@pytest.mark.parametrize("hazard", LOOK_AT)
def test_with_a_hazard_its_part_is_looked_at(hazard: str) -> None:
    assert PARTS.search(LOOK_AT[hazard]) or hazard == "alignment"
    assert next_check("remove", [hazard]) == f"{CHECKS['remove']}; look at {LOOK_AT[hazard]}"


def test_what_a_phase_and_a_hazard_have_to_be_looked_at_for_is_joined() -> None:
    assert next_check("close", ["latch"]) == (
        "reopen five finished units; look at what lies under the cover and whether the latch is locked"
    )
    assert next_check("close", ["pinch", "esd", "latch"]).endswith(
        "; look at what lies under the cover, the path of every cable and whether the latch is locked"
    )


def test_phases_and_hazards_are_those_of_the_contract() -> None:
    assert set(CHECKS) == set(PHASES)
    assert set(CAUTIONS) == set(HAZARDS)
    assert set(LOOK_AT) <= set(HAZARDS)
