"""The reference tables of the invented depot, in the contract's columns."""

import polars as pl

from rqa.demo.catalogue import DIAGNOSTICS, PAIRINGS, PROCEDURES
from rqa.demo.effects import ACTIONS, TARGETS


def procedures() -> pl.DataFrame:
    """Every step of every procedure."""
    rows = [
        {
            "procedure": name, "step_seq": seq, "step": s.step, "phase": s.phase, "subsystems": s.subsystems,
            "hazards": s.hazards or None, "opportunities": s.opportunities,
            "hold_point": "true" if s.flag == "hold" else "false",
            "irreversible": "true" if s.flag == "irreversible" else "false", "must_follow": s.after or None,
        }
        for name, steps in PROCEDURES.items()
        for seq, s in enumerate(steps, 1)
    ]  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None)


def tests() -> pl.DataFrame:
    """What each diagnostic covers."""
    return pl.DataFrame({"test": [t.test for t in DIAGNOSTICS], "subsystem": [t.subsystem for t in DIAGNOSTICS]})


def pairings() -> pl.DataFrame:
    """Which part requires which."""
    return pl.DataFrame(PAIRINGS, schema=["part_no", "requires_part_no"], orient="row")


def actions() -> pl.DataFrame:
    """The improvements."""
    columns = ["action_id", "what", "started_on", "scope", "owner", "expected_change"]
    return pl.DataFrame(ACTIONS, schema=columns, orient="row")


def targets() -> pl.DataFrame:
    """The goals."""
    return pl.DataFrame(TARGETS, schema=["measure", "from_month", "value"], orient="row")


REFERENCE = {
    "procedures": procedures, "tests": tests, "pairings": pairings, "actions": actions, "targets": targets,
}  # fmt: skip
