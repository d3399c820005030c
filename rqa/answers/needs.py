"""What each question rests on, and what an answer says where that is absent.

Every answer that leaves a depot passes through `grounded`: where a ground of its question is absent, its first note
says so and what to add to the mapping; where its table is empty, a note says what was looked for and not found.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Protocol, TypeVar

from rqa.answers import comeback_results as back
from rqa.answers import diagnostic_results as tested
from rqa.answers import improvement_results as improved
from rqa.answers import result as own
from rqa.answers import risk_results as risky
from rqa.answers.grounds import WINDOW, Grounds, Sentence, grounds
from rqa.answers.own_work import hang_on_found
from rqa.answers.persons import with_people
from rqa.answers.scope import Moment
from rqa.answers.scope_notes import scope_notes
from rqa.contract import CLASSES
from rqa.words import listed

SEEN = ("closed_jobs", "repeat_units")
"""Without these no come-back can be seen."""
FOUND = (*SEEN, "found")
LAID = ("steps", "procedures", "described_jobs", "subsystems", *FOUND)
"""Without these no come-back can be laid to a step."""
COVERED = ("diagnostics", "tests", "covered_tests", *FOUND)
PLANNED = ("steps", "procedures", "described_jobs")
NEEDS: dict[type[own.Answer], tuple[str, ...]] = {
    own.Comebacks: (*SEEN, "matured_jobs"),
    own.FirstPassYield: (),
    own.Defects: ("checks",),
    own.Failures: ("checks",),
    own.Rework: ("steps",),
    own.ReworkRoutes: ("checks", "step_times"),
    own.RolledYield: ("checks",),
    own.CleanJobs: ("logs",),
    own.Comparison: (),
    own.ControlChart: (),
    own.ComebackCusum: SEEN,
    own.TimeToDetect: (),
    own.CapabilityIndices: (),
    own.Overlaps: ("repeat_units",),
    own.Learning: ("checks", "technician"),
    own.LoadedFiles: (),
    own.Refused: (),
    own.Remarks: (),
    own.LooseEnds: (),
    back.ComebackCurve: SEEN,
    back.DaysUntil: SEEN,
    back.ComebackHazard: SEEN,
    back.CurveComparison: SEEN,
    back.ComebackCauses: FOUND,
    back.FindingMatrix: FOUND,
    back.ComebackMarks: FOUND,
    back.Recurrences: SEEN,
    back.RecurrenceDifference: SEEN,
    back.ReturnTrends: SEEN,
    back.ChronicUnits: SEEN,
    back.WorstShare: SEEN,
    back.Projection: (*SEEN, "matured_jobs"),
    back.ProjectionBacktest: (*SEEN, "matured_jobs"),
    back.Cohorts: SEEN,
    back.ReturnIndices: SEEN,
    tested.LimitChoices: ("test_values", "test_limits", *SEEN),
    tested.MeasuredReadings: ("test_values",),
    tested.StationDrift: ("test_values", "station"),
    tested.Agreement: (),
    tested.DiagnosticOutcomes: ("diagnostics",),
    tested.RetestPasses: ("diagnostics", "steps"),
    tested.Escapes: COVERED,
    tested.CoverageGap: ("tests", *FOUND),
    tested.PredictiveValues: ("diagnostics", "steps"),
    tested.Releases: ("diagnostics",),
    tested.ReleaseFaults: ("diagnostics",),
    improved.MonthFindings: (),
    improved.MonthFigures: (),
    improved.ComebackCosts: SEEN,
    improved.StepCosts: LAID,
    improved.Targets: ("targets",),
    improved.Verdicts: ("actions", *SEEN),
    improved.ActionTrend: ("actions", *SEEN),
    improved.ActionPower: SEEN,
    improved.ActionSavings: ("actions", *SEEN),
    risky.Bursts: (),
    risky.Attribution: LAID,
    risky.Clusters: ("logs",),
    risky.CoFailures: ("logs",),
    risky.StepExposure: ("steps",),
    risky.StepRelativeRisk: ("steps", *SEEN),
    risky.Conformance: PLANNED,
    risky.Breaches: PLANNED,
    risky.BatteryBreaches: ("steps", "procedures", "described_jobs", "isolation"),
    risky.StepRisk: LAID,
    risky.StepMap: LAID,
}
"""The grounds of each question, whatever is asked of it."""
OF_GROUPING = {
    "class": ("found",), "bench": ("bench",), "tool": ("tool",), "phase": ("procedures", "described_jobs"),
    "step": ("steps",), "fault": ("fault",), "shift": ("step_times",), "shift_hour": ("step_times",),
    "days_since_training": ("step_times",), "test": ("diagnostics",), "station": ("station",),
    "technician": ("technician",), "billing": ("billing",), "part_no": ("parts",), "lot": ("lot",),
}  # fmt: skip
"""The grounds of a grouping or filter."""
OF_MEASURE = {
    "comebacks": (*SEEN, "matured_jobs"), "comeback": (*SEEN, "matured_jobs"), "jobs_between_comebacks": SEEN,
    "days_between_comebacks": SEEN, "first_pass_yield": ("checks",), "first_pass": ("checks",),
    "failed_checks": ("checks",), "first_run_pass": ("diagnostics",), "first_run": ("diagnostics",),
    "clean_jobs": ("logs",), "clean_job": ("logs",), "labour_minutes": ("labour_minutes",),
    "step_values": ("step_values",), "test_values": ("test_values",),
}  # fmt: skip
"""The grounds of a measure, an outcome, or of what is searched for."""
EMPTY = "There is nothing in the store that fits the question."
NONE: dict[type[own.Answer], str] = {
    own.Overlaps: "No two jobs of one unit overlap in time.",
    own.Refused: "No row is refused.",
    own.Remarks: "No value of a row accepted deserves a look.",
    risky.BatteryBreaches: "No breach of the battery's order is logged in the jobs asked about.",
    risky.Clusters: "No groups of jobs that failed alike were made.",
    tested.ReleaseFaults: "No job asked about was released without its tests in order.",
    improved.MonthFindings: "Of all that was compared nothing is more than luck.",
}
"""What an empty table says, where that is no lack of data."""

P = ParamSpec("P")
A = TypeVar("A", bound=own.Answer)


class Asking(Protocol):
    """What has a moment at which questions are asked."""

    _now: Moment


D = TypeVar("D", bound=Asking)


def needs(answer: own.Answer) -> tuple[str, ...]:
    """The grounds of an answer: those of its question, of its groupings and filters, and of what was measured."""
    s = answer.settings
    where = s.get("where")
    named = [*_names(s.get("by")), *(where if isinstance(where, dict) else ())]
    rest = [NEEDS[type(answer)]]
    rest += [OF_MEASURE.get(str(s[name]), ()) for name in ("measure", "outcome", "what") if s.get(name)]
    if isinstance(answer, own.FirstPassYield):
        rest.append(("diagnostics",) if {"test", "station"} & set(named) else ("checks",))
    classes = s.get("classes")
    rest += [("found",)] if isinstance(classes, tuple) and set(classes) != set(CLASSES) else []
    cause = s.get("cause")
    rest += [("found",)] if isinstance(cause, tuple) and hang_on_found(cause) else []
    rest += [OF_GROUPING.get(name, ()) for name in named]
    return tuple(dict.fromkeys(name for names in rest for name in names))


def with_grounds(now: Moment, answer: A) -> A:
    """The answer, with what cannot be told as its first note, or with what was not found where its table is empty."""
    window = answer.settings.get("window")
    there = grounds(now, window=window if isinstance(window, int) else WINDOW)
    said = _said(there, answer)
    return answer if said is None or said in answer.notes else replace(answer, notes=(said, *answer.notes))


def said_of(answer: own.Answer, text: str) -> Sentence:
    """What an answer that left a depot lets one say: `text`, or its own note that this cannot be told."""
    return untold(answer) or Sentence(text, needs(answer))


def untold(answer: own.Answer) -> Sentence | None:
    """The note of an answer that left a depot that it cannot be told as a whole; None where it can."""
    rests_on = needs(answer)
    whole = (n for n in answer.notes if isinstance(n, Sentence) and not n.told and n.rests_on == rests_on)
    return next(whole, None)


def grounded(ask: Callable[Concatenate[D, P], A]) -> Callable[Concatenate[D, P], A]:
    """A depot's question whose answer says what it lacks, and that it tells of people where it does."""

    @wraps(ask)
    def asked(self: D, /, *args: P.args, **how: P.kwargs) -> A:
        answer = with_people(self._now, with_grounds(self._now, ask(self, *args, **how)))
        more = [note for note in scope_notes(self._now, answer.settings) if note not in answer.notes]
        return replace(answer, notes=(*answer.notes, *more)) if more else answer

    return asked


def _said(there: Grounds, answer: own.Answer) -> Sentence | None:
    names, by = needs(answer), _names(answer.settings.get("by"))
    about = answer.question[:1].lower() + answer.question[1:]
    if by and not there.lacking(*NEEDS[type(answer)]):
        about += f" by {' and '.join(name.replace('_', ' ') for name in by)}"
    unnamed = listed([name.replace("_", " ") for name in _unnamed(answer)])
    if unnamed and not there.lacking(*names):
        said = there.claim("", *names, about=about, among=(0, f"values of {unnamed} in the filter"))
        return said.followed(f"Leave {unnamed} out of where= to ask about all.")
    if answer.table.is_empty():
        made = isinstance(answer, improved.MonthFindings)
        among = (len(answer.stated), "comparisons that could be made") if made else None
        return there.claim(NONE.get(type(answer), EMPTY), *names, about=about, among=among)
    return there.lack(*names, about=about)


def _unnamed(answer: own.Answer) -> list[str]:
    """The filters that keep no value at all, as a list made from an empty table does: nothing was asked about."""
    where = answer.settings.get("where")
    return [name for name, kept in where.items() if not kept] if isinstance(where, Mapping) else []


def _names(by: Any) -> tuple[str, ...]:
    return (by,) if isinstance(by, str) else tuple(by or ())
