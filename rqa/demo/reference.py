"""The reference tables of the invented depot, in the contract's columns."""

import numpy as np
import polars as pl

from rqa.demo.catalogue import DIAGNOSTICS, PAIRINGS, PROCEDURES, STATIONS
from rqa.demo.effects import ACTIONS, EYES, GAUGE, TARGETS

STUDY = {"trial": pl.Int64, "value": pl.Float64, "outcome": pl.String, "reference": pl.String, "test": pl.String}


def procedures() -> pl.DataFrame:
    """Every step of every procedure."""
    rows = [
        {
            "procedure": name, "step_seq": seq, "step": s.step, "phase": s.phase,
            "subsystems": ";".join(s.subsystems.split()), "hazards": ";".join(s.hazards.split()) or None,
            "opportunities": s.opportunities,
            "hold_point": "true" if s.flag == "hold" else "false",
            "irreversible": "true" if s.flag == "irreversible" else "false", "must_follow": s.after or None,
        }
        for name, steps in PROCEDURES.items()
        for seq, s in enumerate(steps, 1)
    ]
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


def studies() -> pl.DataFrame:
    """Two planned studies: readings of one test at all stations, and judgements by eye of several people."""
    rng = np.random.default_rng([7, 11])
    unit, station, trial = (x.ravel() for x in np.indices((GAUGE.units, len(STATIONS), GAUGE.trials)))
    true = rng.normal(1.8, GAUGE.unit_spread, GAUGE.units)
    moved = np.where(np.array(STATIONS)[station] == GAUGE.biased_station, GAUGE.bias, 0.0)
    value = true[unit] + moved + rng.normal(0.0, GAUGE.repeat_spread, len(unit))
    readings = pl.DataFrame({
        "study": GAUGE.study, "unit": [f"G{n + 1:02}" for n in unit],
        "appraiser": [STATIONS[n] for n in station], "trial": trial + 1, "value": value.round(3),
        "outcome": None, "reference": None, "test": GAUGE.test,
    }, schema_overrides=STUDY)
    unit, person, trial = (x.ravel() for x in np.indices((EYES.units, len(EYES.appraisers), EYES.trials)))
    scratched = rng.random(EYES.units) < EYES.bad_units
    often = np.array(EYES.appraisers)[person] == EYES.often_wrong_appraiser
    said = scratched[unit] ^ (rng.random(len(unit)) < np.where(often, EYES.often_wrong, EYES.wrong))
    judged = pl.DataFrame({
        "study": EYES.study, "unit": [f"V{n + 1:02}" for n in unit],
        "appraiser": [EYES.appraisers[n] for n in person], "trial": trial + 1, "value": None,
        "outcome": np.where(said, "fail", "pass"), "reference": np.where(scratched[unit], "fail", "pass"),
        "test": None,
    }, schema_overrides=STUDY)
    return pl.concat([readings, judged])


REFERENCE = {
    "procedures": procedures, "tests": tests, "pairings": pairings, "actions": actions, "targets": targets,
    "studies": studies,
}
