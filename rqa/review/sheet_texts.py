"""The sentences of the manager's sheet, where they can be read together.

Each is a template; the modules beside it put the numbers in. `tests/review/sheet_sentences.txt` holds them as rendered.
"""

import re
from collections.abc import Sequence
from datetime import date

from rqa.words import counted, listed, plural

YEAR = re.compile(r"\b\d{4}\b")
# How the small pictures are read, and the heading of the problems.
BAND = (
    "Numbers: latest final months. Grey band: usual range; flat line: mean; dashed: goal; dashed upright: level "
    "changed."
)
ACT = "What to act on"
DEFINED = {
    "first-pass yield": "steps passed at first check",
    "clean-job share": "jobs with nothing failed",
}
"""What a measure counts, under its name, where the name does not say it."""

# The verdict: on quality.
CHANGED = "{measure} {verb} {word} since {since} ({level}, {before} before)"
UNCHANGED_REST = "the other {number} measures: {unclear}"
UNCHANGED_ALL = "{unclear} of any of the {number} measures"
UNCHANGED = "{unclear} of {measures}"
TOO_LITTLE = "too little work to tell whether {measures} changed"
UNTOLD = "{measures} cannot be told"
NO_EARLIER = "there is no earlier month to compare {measures} with"
NOT_OVER = "{month} is not over, and not judged."

# The verdict: on goals. What is unclear, and why, the tiles say.
GOAL_ONE = {"yes": "The goal of {name} is met.", "no": "The goal of {name} is missed."}
GOAL_ONE_UNCLEAR = "Whether the goal of {name} is met is unclear."
GOALS = "Goals, latest month: {met} met"
GOALS_MISSED = ", {missed} missed ({names})"
GOALS_UNCLEAR = ", {unclear} unclear"

# The verdict: what to decide; safety first.
DECIDE = "To decide: {what}."
REVIEW = "review {events}"
OWNERS = "owner and action for {problems} {numbers}"
ENOUGH = "whether {actions} {verb} enough"

# A tile: its state and its goal.
SINCE = "{word} since {since}"
NO_EARLIER_MONTH = "no earlier month"
NO_CHANGE_TOLD = "a change cannot be told"
NO_GOAL = "no goal"
GOAL = "goal {goal}: {said}"
GOAL_MET = {"yes": "met", "no": "missed"}
GOAL_TOO_FEW = "unclear from {month} alone"
GOAL_NOT_FINAL = "{month} is not final"

# A problem.
NEXT, ACTION, OPEN = "→", "Action:", "No owner."
AVOIDABLE = "{number} avoidable {span}"
A_YEAR, IN_ALL = "a year", "in all"
AVOIDABLE_MEANS = "Avoidable (estimated): above comparable work."
BASIS = "Within {days}, {months}"
MORE_PROBLEMS = "{more} more in the annex"
FULL = " {left} in the annex alone, as the sheet is full."
ACTION_DONE = "{action}{owner} since {month}: {rates}{verdict}"
OWNER, NO_OWNER = " (owner: {owner})", " (owner to be named)"
RATES = "before {before}, after {after} of {jobs}; "
VERDICTS = {"too early": "too early to judge"}
"""A verdict as a sentence ends with it, where its word alone leaves open what is meant."""

# The lines below.
COST = "{months}: {comebacks} within {days} days"
COST_UNKNOWN = "{came}; their cost is not known."
COST_SUM = "{came}, {cost} (95 %: {low} to {high})"
COST_OF_FEW = "; the cost of {number} is not known"
COST_NOT_COUNTED = " Not counted: {what}."
LARGEST = " Most avoidable: problem {number}."
SAFETY = "{events} in {month}: {kinds}."
ACTION_LINE = "{action}, {what}: {verdict}"
DUE = "verdict due {month}"
MORE_ACTIONS = "{more} in the annex"
UNSHOWN_ACTIONS = "On record are actions that this page does not show; the annex says why."
CLOSED = "{jobs} closed."
COMPLETE = "All tables loaded{but}."
INCOMPLETE = "Incomplete, without {missing}{but}."
HIDDEN = " Not shown, as under {smallest} cases: {left} of {groups} kinds of work."
CAUTIONS = (
    "{hazards} work: follow the maker's service guide, local codes, trained staff. No figure justifies skipping a "
    "hold point or protection. Rates: unadjusted for mix."
)
"""The cautions at the foot of the sheet; the annex has all of them."""


def near(when: str, month: date) -> str:
    """A month or months without the year, where it is that of the sheet's own month, which its heading says."""
    return when.replace(f" {month.year}", "") if set(YEAR.findall(when)) == {str(month.year)} else when


def decide(waiting: Sequence[str], actions: Sequence[str], events: int) -> str:
    """What the manager is to decide: on safety events, on problems that wait, or whether what is done is enough."""
    said = [REVIEW.format(events=counted(events, "safety event"))] if events else []
    if waiting:
        said.append(OWNERS.format(problems=plural(len(waiting), "problem"), numbers=listed(list(waiting))))
    elif actions:
        said.append(ENOUGH.format(actions=listed(list(actions)), verb=plural(len(actions), "is", "are")))
    return DECIDE.format(what="; ".join(said)) if said else ""


def goals(met: int, missed: Sequence[str], missing: int, unclear: int) -> str:
    """How many goals are met, missed and unclear; `missed` are the names to be said of the `missing` ones."""
    said = GOALS.format(met=met)
    said += GOALS_MISSED.format(missed=missing, names=listed(list(missed))) if missing else ""
    return f"{said}{GOALS_UNCLEAR.format(unclear=unclear) if unclear else ''}."
