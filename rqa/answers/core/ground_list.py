"""The closed list of grounds: what a statement that nothing was found rests on, and what to do where it is absent."""

from dataclasses import dataclass

from rqa.contract import TABLES
from rqa.store.remark_words import NO_UNIT_TWICE, NO_UNIT_TWICE_NEXT


@dataclass(frozen=True)
class Ground:
    """Something a statement can rest on: its name, what is said where it is absent, what to do then.

    `beside` and `after` name the grounds without which this one is absent anyway; then only these are told of.
    `lacking` may hold {window} (days) and {when} (the months, and the jobs asked about). `adds` is the table to be
    mapped where that is the remedy, `maps` the table and the column.
    """

    name: str
    lacking: str
    remedy: str = ""
    beside: str = ""
    after: str = ""
    adds: str = ""
    maps: tuple[str, str] | None = None


WAIT = "It can be told once more time has passed."


def _table(name: str) -> Ground:
    return Ground(name, f"the table “{name}” is not loaded", adds=name)


def _column(table: str, column: str, name: str = "") -> Ground:
    meaning = TABLES[table].column(column).meaning
    lacking = f"“{column}” of the table “{table}” is never given ({meaning})"
    return Ground(name or column, lacking, beside=table, maps=(table, column))


GROUNDS = {
    ground.name: ground
    for ground in (
        _table("jobs"),
        Ground(
            "closed_jobs", "no repaired job is closed", "Check how “disposition” and “closed_at” are mapped.", "jobs"
        ),
        Ground("matured_jobs", "no repaired job has been out {window} days", WAIT, "closed_jobs"),
        Ground(
            "repeat_units", f"{NO_UNIT_TWICE}, so no come-back can be seen", NO_UNIT_TWICE_NEXT, "jobs"
        ),
        _column("jobs", "found"),
        *(_column("jobs", c) for c in ("complaint", "billing", "labour_minutes", "parts_cost", "freight_cost")),
        _column("jobs", "technician"),
        _table("steps"),
        Ground(
            "checks", "no step is logged as passed or failed", "Check how “outcome” of the steps is mapped.", "steps"
        ),
        *(_column("steps", c) for c in ("bench", "tool", "fault")),
        _column("steps", "started_at", "step_times"),
        _column("steps", "value", "step_values"),
        _table("diagnostics"),
        _column("diagnostics", "station"),
        _column("diagnostics", "value", "test_values"),
        _column("diagnostics", "lower_limit", "test_limits"),
        _table("parts"),
        _column("parts", "lot"),
        _table("procedures"),
        Ground(
            "described_jobs", "the table “procedures” names no procedure of the jobs",
            "Give “procedure” the same names in both tables.", "procedures",
        ),
        _column("procedures", "subsystems"),
        Ground(
            "isolation", "no step of the table “procedures” has the phase isolate and the hazard battery",
            'Where units have a battery, give the step that isolates it the phase "isolate" and the hazard "battery".',
            "procedures",
        ),
        _table("tests"),
        Ground(
            "covered_tests", "the table “tests” names no test that was run",
            "Give “test” the same names in both tables.", "tests",
        ),
        *(_table(name) for name in ("pairings", "retirements", "targets", "studies")),
        Ground("actions", "no action is on record", "Add one with rqa action, or map a table “actions”."),
        Ground("final_comebacks", "no month's come-backs within {window} days are final yet", WAIT, "closed_jobs"),
        Ground("earlier_comebacks", "there is no earlier month to compare with", WAIT, "final_comebacks"),
        Ground("final_checks", "no month of checks is over yet", WAIT, "checks"),
        Ground("earlier_checks", "there is no earlier month to compare with", WAIT, "final_checks"),
        Ground("logs", "neither the table “steps” nor the table “diagnostics” is loaded", adds="steps"),
        Ground("final_clean", "no month with checked jobs is over yet", WAIT, "logs"),
        Ground("earlier_clean", "there is no earlier month to compare with", WAIT, "final_clean"),
        Ground("closed_there", "no job was closed {when}", "", "jobs"),
        Ground("opened_there", "no job was opened {when}", "", "jobs"),
        Ground("logged_there", "no step is logged of the jobs closed {when}", "", "steps", "closed_there"),
        Ground(
            "tested_there", "no diagnostic is logged of the jobs closed {when}", "", "diagnostics", "closed_there"
        ),
        Ground(
            "isolation_there", "no job closed {when} has a log and a procedure that says when the battery is "
            "isolated",
            "Check the names in “procedure”, the phase isolate and the hazard battery in the table “procedures”.",
            "isolation", "logged_there",
        ),
    )
}
"""Every ground there is; the columns of `measures/sql/shared/grounds.sql` have the same names."""
SEEN = ("closed_jobs", "repeat_units")
"""Without these no come-back can be seen."""
FOUND = (*SEEN, "found")
LAID = ("steps", "procedures", "described_jobs", "subsystems", *FOUND)
"""Without these no come-back can be attributed to a step."""
COVERED = ("diagnostics", "tests", "covered_tests", *FOUND)
PLANNED = ("steps", "procedures", "described_jobs")
