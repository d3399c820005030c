"""What is planted in the invented depot; all the rest is plain noise. `truth.json` is made from here."""

from dataclasses import asdict, dataclass
from datetime import date


@dataclass(frozen=True)
class PinchedCable:
    """The display cable is pinched when it is reseated in a main-board job on one model, until a guide is fitted."""

    model: str = "Marl-10"
    procedure: str = "main board"
    step: str = "reseat display cable"
    subsystem: str = "display"
    pinched: float = 0.18
    pinched_after_action: float = 0.04
    caught_at_the_check: float = 0.4
    comes_back_if_missed: float = 0.7
    mean_days_to_return: float = 14.0


@dataclass(frozen=True)
class EarlyAlignment:
    """One bench aligns the button before the case is tightened; tightening then moves it."""

    bench: str = "C-3"
    step: str = "align button"
    should_follow: str = "tighten case"
    subsystem: str = "button"
    early_at_the_bench: float = 0.8
    early_elsewhere: float = 0.01
    comes_back_if_early: float = 0.12
    mean_days_to_return: float = 20.0


@dataclass(frozen=True)
class BadLot:
    """In some weeks most antenna cables fitted are of one bad lot."""

    part_no: str = "AC-31"
    lot: str = "K-2541"
    subsystem: str = "antenna"
    test: str = "position fix"
    first_day: date = date(2025, 9, 1)
    last_day: date = date(2025, 10, 12)
    share_of_the_lot: float = 0.7
    comes_back_if_fitted: float = 0.35
    extra_first_run_failures: float = 0.1
    mean_days_to_return: float = 16.0


@dataclass(frozen=True)
class FlakyTest:
    """One test fails for no reason, at every station, and passes when it is run again with nothing done in between."""

    test: str = "touch sweep"
    fails_for_no_reason: float = 0.08


@dataclass(frozen=True)
class DriftingStation:
    """One station reads one test a little higher every month; hardly any reading leaves its limits for that."""

    test: str = "charge rate"
    station: str = "S2"
    first_day: date = date(2025, 9, 1)
    rise_a_month: float = 0.012
    most: float = 0.12


@dataclass(frozen=True)
class UncoveredSubsystem:
    """No diagnostic covers this subsystem: what the work did to it leaves the depot and comes back."""

    subsystem: str = "case"
    of_returns_with_another_subsystem: float = 0.8


@dataclass(frozen=True)
class GaugeStudy:
    """Every station reads every unit several times; the drifting station reads higher."""

    study: str = "charge rate, spring"
    test: str = DriftingStation.test
    units: int = 10
    trials: int = 3
    unit_spread: float = 0.1
    repeat_spread: float = 0.02
    biased_station: str = DriftingStation.station
    bias: float = DriftingStation.most


@dataclass(frozen=True)
class EyeStudy:
    """Three people judge marks on cases of which it is known whether they pass; one of them is often wrong."""

    study: str = "marks on the case"
    units: int = 30
    trials: int = 2
    appraisers: tuple[str, ...] = ("T02", "T11", "T19")
    bad_units: float = 0.4
    wrong: float = 0.08
    often_wrong_appraiser: str = "T11"
    often_wrong: float = 0.25


@dataclass(frozen=True)
class Slips:
    """Small departures from the procedures and from the tests, alike everywhere and without effect on come-backs."""

    run_again_as_it_is: float = 0.04
    test_left_out: float = 0.003
    released_failing: float = 0.003
    released_aborted: float = 0.002
    inspected_after_the_tests: float = 0.003
    battery_isolated_late: float = 0.002
    battery_reconnected_early: float = 0.002
    irreversible_before_hold_point: float = 0.005
    connectors_not_counted: float = 0.004
    connector_not_reseated: float = 0.004
    paired_part_not_fitted: float = 0.015


@dataclass(frozen=True)
class Noise:
    """Rates that hold everywhere alike: no technician, site, tool or model has an effect of its own."""

    comes_back_from_the_work: float = 0.027
    of_these_early: float = 0.8
    mean_days_early: float = 11.0
    mean_days_late: float = 60.0
    of_these_the_same_subsystem: float = 0.45
    of_these_no_fault_found: float = 0.12
    return_without_finding: float = 0.05
    second_attempt_fails: float = 0.08
    skipped: float = 0.003
    aborted: float = 0.003


PINCH, EARLY, LOT, NOISE = PinchedCable(), EarlyAlignment(), BadLot(), Noise()
FLAKY, DRIFT, UNCOVERED, SLIPS = FlakyTest(), DriftingStation(), UncoveredSubsystem(), Slips()
GAUGE, EYES = GaugeStudy(), EyeStudy()
CABLE_GUIDE_ON = date(2026, 1, 12)
"""The improvement that works: from this day on fewer cables are pinched."""
NEW_GLUE_ON = date(2025, 11, 3)
"""The improvement that changes nothing."""
TRAINED, TRAINED_ON = "T05", date(2025, 8, 4)
"""A training, which changes nothing either."""

ACTIONS = (
    (
        "ACT-1", "cable guide fitted before the display cable is reseated", CABLE_GUIDE_ON,
        "model=Marl-10; procedure=main board; step=reseat display cable", "lead",
        "fewer come-backs of the display: by half",
    ),
    (
        "ACT-2", "other glue for the battery cell", NEW_GLUE_ON,
        "procedure=battery; step=fit cell", "lead", "fewer come-backs of the battery: by a third",
    ),
    ("ACT-3", "training: laying cables", TRAINED_ON, f"technician={TRAINED}", "trainer", "not stated"),
)
TARGETS = (
    ("comebacks_30", "2025-01", "0.05"),
    ("comebacks_90", "2025-01", "0.09"),
    ("comebacks_30", "2026-01", "0.045"),
    ("clean_jobs", "2025-01", "0.55"),
)


def planted() -> dict[str, object]:
    """The planted effects and the noise as plain data."""
    effects = {
        "pinched_cable": {**asdict(PINCH), "action": "ACT-1", "action_from": CABLE_GUIDE_ON},
        "early_alignment": asdict(EARLY),
        "bad_lot": asdict(LOT),
        "flaky_test": asdict(FLAKY),
        "drifting_station": asdict(DRIFT),
        "uncovered_subsystem": asdict(UNCOVERED),
        "gauge_study": asdict(GAUGE),
        "eye_study": asdict(EYES),
        "action_that_works": {
            "action": "ACT-1", "pinched_before": PINCH.pinched, "pinched_after": PINCH.pinched_after_action,
        },
        "action_without_effect": {"action": "ACT-2", "from": NEW_GLUE_ON, "risk_ratio": 1.0},
        "training_without_effect": {"action": "ACT-3", "technician": TRAINED, "from": TRAINED_ON},
    }
    no_effect = {
        "technicians": "T01 to T24 differ only by the mix of their work",
        "sites": "Alder, Birch and Cedar have no effect of their own; Cedar has the bench that aligns early",
        "benches": "all but the bench that aligns early",
        "tools": "all",
        "stations": "all but the drifting one, and that in one test's readings alone",
        "tests": "all but the flaky one",
        "slips": "departures from procedures and tests, but for the early alignment, bring no come-backs",
        "lots": "all but the bad lot",
        "months": "no trend beside the weeks of the bad lot and the working action",
    }
    return {"effects": effects, "noise": asdict(NOISE), "slips": asdict(SLIPS), "no_effect": no_effect}
