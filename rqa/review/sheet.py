"""The manager's sheet: the month on one page, out of the facts that the annex tells in full."""

import re
from collections.abc import Sequence
from datetime import date

from rqa.answers.charts.month import UNCLEAR
from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.findings import MonthFindings
from rqa.answers.improve.goals import NO, YES
from rqa.answers.improve.overall_findings import FIGURES, MonthMeasure
from rqa.depot import Depot
from rqa.plots.charts.small_control import small_control
from rqa.review.comebacks.costs import cost_line
from rqa.review.data.intake import data_line
from rqa.review.facts import Pointer, ProblemLine, Section, Sheet, Tile, Verdict, in_short
from rqa.review.improve.actions import action_lines, open_actions
from rqa.review.improve.problems import nothing_to_act_on, problem_lines
from rqa.review.improve.verdicts import VERBS, resting_on
from rqa.review.steps.safety import no_battery, safety_line
from rqa.review.texts import CANNOT_BE_TOLD, HAZARDS, SHEET_CAUTIONS, cut, no_job_closed
from rqa.shown import all_shown
from rqa.words import counted, listed, month_name, plural

MOST_WORDS = 350
"""Words of the sheet at most."""
FIXED = ("Band: chance; dashed: goal.", "What to act on")
"""What stands on every sheet: how its pictures are read, and a heading."""
NEXT, ACTION, OPEN = "Next:", "Action:", "No owner."
"""What is put before the next step and the action of a problem, and what is said where there is no action."""
ACTIONS = 4
TITLE = 10
"""Words of the depot's title on the sheet."""
NEW = "new"
"""The state of a problem that is said; one that goes on needs no word."""
MET = {YES: "met", NO: "missed"}
"""How a tile says whether a goal is met; anything else cannot be told."""
ADDRESSES = {"comebacks": "figure-comebacks", "comebacks-90": "figure-comebacks-90", "clean_jobs": "figure-clean_jobs"}
"""Where the annex draws a measure; of one that it does not draw, it speaks in words."""
NUMBERS = ("none", "one", "two", "three", "four")
BOTH = "come-backs within 30 and 90 days"
GOALS_NAMED = 2
"""Missed goals that the verdict names."""
WORD, NUMBER = re.compile(r"\w"), re.compile(r"\d+(?:\.\d+)?")


def sheet(
    depot: Depot,
    month: date,
    *,
    title: str,
    judged: Sequence[Verdict],
    found: MonthFindings,
    sections: Sequence[Section],
    pointers: Sequence[Pointer],
    quiet: Sentence,
    shown: tuple[date, date],
    over: bool,
) -> Sheet:
    """The sheet of a month: `judged`, `sections`, `pointers` and `quiet` are what its annex tells; `shown` the months
    on the time axes; `over` whether the month is."""
    told = {s.key: s for s in sections}
    goals, rows = told["goals"], _goal_rows(told["goals"])
    acted = open_actions(depot, month)
    problems, basis = problem_lines(depot, month, found, acted, [p.id for p in pointers])
    nothing = Sentence("") if problems else nothing_to_act_on(depot, quiet)
    safety, events = safety_line(depot, month, told["safety"])
    day = depot.as_of.date()
    data = data_line(depot)
    tiles = tuple(_tile(depot, f, v, rows, shown) for f, v in zip(FIGURES, judged, strict=True))
    quality, reached = _quality(depot, month, judged, over), _goals(goals, rows)

    def of(here: Sequence[ProblemLine], most: int) -> Sheet:
        """The sheet with these problems and so many actions; what it says of problems is of these."""
        return Sheet(
            heading=f"Repair quality, {month_name(month)}",
            under=f"{cut(title, TITLE)} · as of {day.day} {month_name(day)}",
            verdict=(quality, reached, _to_decide(here, nothing, events)),
            tiles=tiles,
            problems=tuple(here),
            quiet=nothing,
            basis=f"{basis}{_left(len(problems) - len(here))}",
            lines=(
                cost_line(depot, month, told["cost"], _largest(here)), safety,
                action_lines(acted, told["actions"], most, here), data,
            ),
            cautions=SHEET_CAUTIONS.format(hazards=HAZARDS[no_battery(depot)]),
            to_act=tuple(_reasons(judged, rows, problems, events)),
        )

    # Where long names would make it longer than a page, it has fewer actions, and then fewer problems.
    for most in range(ACTIONS, 0, -1):
        if words_of(made := of(problems, most)) <= MOST_WORDS:
            return made
    for kept in range(len(problems), 1, -1):
        if words_of(made := of(problems[:kept], 0)) <= MOST_WORDS:
            return made
    return of(problems[:1], 0)


def _left(problems: int) -> str:
    """What is said of problems for which the sheet has no room."""
    if not problems:
        return ""
    which = "1 problem of this list is" if problems == 1 else f"{problems} problems of this list are"
    return f" {which} in the annex alone, as the sheet is full."


def words_of(made: Sheet) -> int:
    """How many words a reader meets on the sheet."""
    said: list[str] = [made.heading, made.under, *FIXED, *made.verdict, made.quiet, made.basis, made.cautions]
    for t in made.tiles:
        said += [t.measure, t.value, t.when, t.word, t.goal]
    for p in made.problems:
        said += [p.where, p.what, p.worth, NEXT, p.check, p.state if p.state == NEW else ""]
        said += [ACTION, p.action] if p.action else [OPEN]
    for line in made.lines:
        said += [line.heading, *line.items]
    return sum(1 for text in said for word in text.split() if WORD.search(word))


def _quality(depot: Depot, month: date, judged: Sequence[Verdict], over: bool) -> Sentence:
    """What changed, by how much, and what did not."""
    said = []
    for word in ("worse", "better"):
        for v in judged:
            if v.word == word:
                said.append(f"{v.measure} {VERBS[v.measure]} {word} since {v.since} ({v.level} against {v.before})")
    told = {w: [v for v in judged if v.word == w] for w in (UNCLEAR, CANNOT_BE_TOLD, "no data")}
    quiet = [v.measure for v in told[UNCLEAR]]
    if quiet:
        rest = len(quiet) > 1 and len(quiet) + len(said) == len(judged)
        others = f"the other {NUMBERS[len(quiet)]} measures" if said else f"any of the {NUMBERS[len(quiet)]} measures"
        said.append(f"{UNCLEAR} of {others if rest else _listed(quiet)}")
    unseen = [v.measure for v in told[CANNOT_BE_TOLD] if v.share != "no data"]
    said += [f"too little work to tell whether {_listed(unseen)} changed"] * bool(unseen)
    none = [v.measure for v in told[CANNOT_BE_TOLD] if v.share == "no data"]
    said += [f"{_listed(none)} cannot be told"] * bool(none)
    said += [f"there is no earlier month to compare {_listed([v.measure for v in told['no data']])} with"] * bool(
        told["no data"]
    )
    text = f"{'; '.join(said)}."
    text = text[:1].upper() + text[1:]
    idle = no_job_closed(depot.grounds(month), month)
    first = f"{idle}." if idle else "" if over else f"{month_name(month)} is not over, and not judged."
    return resting_on(f"{first} {text}".strip(), tuple(judged))


def _listed(names: Sequence[str]) -> str:
    """Measures in a list; both of come-backs as one."""
    both = [f.name for f in FIGURES if f.measure == "comebacks"]
    if not set(both) <= set(names):
        return listed(list(names))
    return listed([BOTH, *(name for name in names if name not in both)])


def _goal_rows(goals: Section) -> dict[str, tuple[str, ...]]:
    """The rows of the section's table by the name of their measure."""
    return {row[0]: row for table in goals.tables for row in table.rows}


def _goals(goals: Section, rows: dict[str, tuple[str, ...]]) -> Sentence:
    if not rows:
        none = in_short(goals.words[0])
        return none if isinstance(none, Sentence) else Sentence(none)
    by = "" if any(r[4] == "no data" for r in rows.values()) else " from one month"
    met, missed = ([r for r in rows.values() if r[3] == word] for word in (YES, NO))
    if len(rows) == 1:
        (row,) = rows.values()
        name = cut(row[0], TITLE)
        told = {YES: f"The goal of {name} is met.", NO: f"The goal of {name} is missed."}
        return Sentence(told.get(row[3], f"Whether the goal of {name} is met {CANNOT_BE_TOLD}{by}."))
    said = f"Of {counted(len(rows), 'goal')} {len(met)} met"
    if missed:
        more = ["others"] if len(missed) > GOALS_NAMED else []
        said += f", {len(missed)} missed ({listed([*(cut(r[0], TITLE) for r in missed[:GOALS_NAMED]), *more])})"
    unclear = len(rows) - len(met) - len(missed)
    said += f", {unclear} {CANNOT_BE_TOLD}{by}" if unclear else ""
    return Sentence(f"{said}.")


def _bare(goal: str) -> str:
    """A goal without its side, which its measure tells."""
    return goal.removeprefix("at most ").removeprefix("at least ")


def _to_decide(problems: Sequence[ProblemLine], nothing: Sentence, events: int) -> Sentence:
    """What the manager is to decide."""
    review = f"review {counted(events, 'safety event')}" if events else ""
    if not problems:
        return nothing.followed(f"{review.capitalize()}.") if review else nothing
    waiting = [str(number) for number, p in enumerate(problems, 1) if not p.answered]
    safety = f"; {review}" if review else ""
    if waiting:
        numbers = f"{plural(len(waiting), 'problem')} {listed(waiting)}"
        return Sentence(f"To decide: owner and action for {numbers}{safety}.")
    names = list(dict.fromkeys(p.action.split()[0] for p in problems))
    return Sentence(f"To decide: whether {listed(names)} {plural(len(names), 'is', 'are')} enough{safety}.")


def _largest(problems: Sequence[ProblemLine]) -> str:
    """The largest avoidable part of the cost, of the problems of which it is known."""
    known = [(p.cost, -number) for number, p in enumerate(problems, 1) if p.cost is not None]
    return f" Largest avoidable part: problem {-max(known)[1]}." if known else ""


def _tile(
    depot: Depot, measure: MonthMeasure, v: Verdict, goals: dict[str, tuple[str, ...]], shown: tuple[date, date]
) -> Tile:
    chart = depot.control_chart(measure.measure, window=measure.window, months=shown)
    goal, line = "no goal", None
    if v.measure in goals:
        _, said, _, met, *_ = goals[v.measure]
        goal = f"goal {_bare(said)}: {MET.get(met, CANNOT_BE_TOLD)}"
        line = float(number[0]) / 100 if (number := NUMBER.search(said)) else None
    key = measure.measure if measure.window == 30 else f"{measure.measure}-{measure.window}"
    spec = all_shown(small_control(chart, line).to_dict(validate=False))
    sign, word = state_of(v)
    return Tile(
        key=key, measure=v.measure, value=v.share, when=v.month if v.share != "no data" else "", sign=sign, word=word,
        loud=v.word == "worse", goal=goal, spec=spec, address=ADDRESSES.get(key, "words"),
    )


def state_of(v: Verdict) -> tuple[str, str]:
    """The sign and the word of a verdict."""
    if v.word == "better":
        return "▲", f"better since {v.since}"
    if v.word == "worse":
        return "▼", f"worse since {v.since}"
    if v.word == UNCLEAR:
        return "●", UNCLEAR
    if v.word == "no data":
        return "–", "no earlier month"
    return "–", CANNOT_BE_TOLD if v.share == "no data" else f"a change {CANNOT_BE_TOLD}"


def _reasons(
    judged: Sequence[Verdict], rows: dict[str, tuple[str, ...]], problems: Sequence[ProblemLine], events: int
) -> list[str]:
    """Why somebody has to act."""
    said = [f"{v.measure} {VERBS[v.measure]} worse since {v.since}" for v in judged if v.word == "worse"]
    said += [f"goal missed: {name}" for name, row in rows.items() if row[3] == NO]
    waiting = [p for p in problems if not p.answered]
    said += [f"{counted(len(waiting), 'problem')} without an action"] if waiting else []
    return [*said, *([counted(events, "safety event")] if events else [])]
