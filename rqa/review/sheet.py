"""The manager's sheet: the month on one page, out of the facts that the annex tells in full."""

import re
from collections.abc import Sequence
from datetime import date

from rqa.answers.charts.month import UNCLEAR
from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.findings import MonthFindings
from rqa.answers.improve.goals import NO, NOT_YET, YES
from rqa.answers.improve.overall_findings import FIGURES, MonthMeasure
from rqa.depot import Depot
from rqa.plots.charts.small_control import small_control
from rqa.plots.level_change import LevelChange
from rqa.review import sheet_texts as say
from rqa.review.comebacks.costs import cost_line
from rqa.review.data.intake import data_line
from rqa.review.facts import Pointer, ProblemLine, Section, Sheet, Tile, Verdict, in_short
from rqa.review.figures import changed
from rqa.review.improve.actions import action_lines, open_actions
from rqa.review.improve.finding_jobs import FindingJobs
from rqa.review.improve.problems import nothing_to_act_on, problem_lines
from rqa.review.improve.verdicts import VERBS, resting_on
from rqa.review.steps.safety import no_battery, safety_line
from rqa.review.texts import CANNOT_BE_TOLD, HAZARDS, cut, no_job_closed
from rqa.shown import all_shown
from rqa.words import counted, listed, month_name

MOST_WORDS = 350
"""Words of the sheet at most."""
ACTIONS = 4
TITLE = 10
"""Words of the depot's title on the sheet."""
NEW = "new"
"""The state of a problem that is said; one that goes on needs no word."""
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
    jobs: FindingJobs,
    quiet: Sentence,
    shown: tuple[date, date],
    over: bool,
    hidden: tuple[int, int] = (0, 0),
) -> Sheet:
    """The sheet of a month: `judged`, `sections`, `pointers` and `quiet` are what its annex tells; `jobs` lists those
    behind each finding; `shown` the months on the time axes; `over` whether the month is; `hidden` how many of how
    many kinds of work the annex leaves out."""
    told = {s.key: s for s in sections}
    goals, rows = told["goals"], _goal_rows(told["goals"])
    acted = open_actions(depot, month)
    problems, basis = problem_lines(depot, month, found, acted, [p.id for p in pointers], jobs)
    nothing = Sentence("") if problems else nothing_to_act_on(depot, quiet)
    safety, events = safety_line(depot, month, told["safety"])
    day = depot.as_of.date()
    data = data_line(depot, hidden)
    tiles = tuple(_tile(depot, f, v, rows, shown, month) for f, v in zip(FIGURES, judged, strict=True))
    quality, reached = _quality(depot, month, judged, over), _goals(goals, rows)

    def of(here: Sequence[ProblemLine], most: int) -> Sheet:
        """The sheet with these problems and so many actions; what it says of problems is of these."""
        return Sheet(
            heading=f"Repair quality, {month_name(month)}",
            under=f"{cut(title, TITLE)} · as of {day.day} {say.near(month_name(day), month)}",
            verdict=(quality, reached, _to_decide(here, nothing, events)),
            tiles=tiles,
            problems=tuple(here),
            quiet=nothing,
            basis=f"{basis}{_left(len(problems) - len(here))}",
            lines=(
                cost_line(depot, month, told["cost"], _largest(here)), safety,
                action_lines(acted, told["actions"], most, here, month), data,
            ),
            cautions=say.CAUTIONS.format(hazards=HAZARDS[no_battery(depot)]),
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
    return say.FULL.format(left=counted(problems, "problem")) if problems else ""


def words_of(made: Sheet) -> int:
    """How many words a reader meets on the sheet."""
    said: list[str] = [made.heading, made.under, say.BAND, *made.verdict, made.basis, made.cautions]
    said += [say.ACT, made.quiet_below] if made.problems or made.quiet_below else []
    for t in made.tiles:
        said += [t.measure, t.of, t.value, t.when, t.word, t.goal]
    for p in made.problems:
        said += [p.where, p.what, p.worth, say.NEXT, p.check, p.state if p.state == NEW else ""]
        said += [say.ACTION, p.action] if p.action else [say.OPEN]
    for line in made.lines:
        said += [line.heading, *line.items]
    return sum(1 for text in said for word in text.split() if WORD.search(word))


def _quality(depot: Depot, month: date, judged: Sequence[Verdict], over: bool) -> Sentence:
    """What changed, by how much, and what did not."""
    said = [
        say.CHANGED.format(measure=v.measure, verb=VERBS[v.measure], word=word, since=say.near(v.since, month),
                           level=v.level, before=v.before)
        for word in ("worse", "better") for v in judged if v.word == word
    ]
    told = {w: [v for v in judged if v.word == w] for w in (UNCLEAR, CANNOT_BE_TOLD, "no data")}
    quiet = [v.measure for v in told[UNCLEAR]]
    if quiet:
        rest = len(quiet) > 1 and len(quiet) + len(said) == len(judged)
        said_so = say.UNCHANGED if not rest else say.UNCHANGED_REST if said else say.UNCHANGED_ALL
        said.append(said_so.format(unclear=UNCLEAR, number=NUMBERS[len(quiet)], measures=_listed(quiet)))
    unseen = [v.measure for v in told[CANNOT_BE_TOLD] if v.share != "no data"]
    said += [say.TOO_LITTLE.format(measures=_listed(unseen))] * bool(unseen)
    none = [v.measure for v in told[CANNOT_BE_TOLD] if v.share == "no data"]
    said += [say.UNTOLD.format(measures=_listed(none))] * bool(none)
    first_ones = [v.measure for v in told["no data"]]
    said += [say.NO_EARLIER.format(measures=_listed(first_ones))] * bool(first_ones)
    text = f"{'; '.join(said)}."
    text = text[:1].upper() + text[1:]
    idle = no_job_closed(depot.grounds(month), month)
    first = f"{idle}." if idle else "" if over else say.NOT_OVER.format(month=month_name(month))
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
    met, missed = ([r for r in rows.values() if r[3] == word] for word in (YES, NO))
    if len(rows) == 1:
        (row,) = rows.values()
        return Sentence(say.GOAL_ONE.get(row[3], say.GOAL_ONE_UNCLEAR).format(name=cut(row[0], TITLE)))
    names = [cut(r[0], TITLE) for r in missed[:GOALS_NAMED]] + ["others"] * (len(missed) > GOALS_NAMED)
    return Sentence(say.goals(len(met), names, len(missed), len(rows) - len(met) - len(missed)))


def _bare(goal: str) -> str:
    """A goal without its side, which its measure tells."""
    return goal.removeprefix("at most ").removeprefix("at least ")


def _to_decide(problems: Sequence[ProblemLine], nothing: Sentence, events: int) -> Sentence:
    """What the manager is to decide."""
    if not problems:
        return Sentence(say.decide([], [], events)) if events else nothing
    waiting = [str(number) for number, p in enumerate(problems, 1) if not p.answered]
    return Sentence(say.decide(waiting, list(dict.fromkeys(p.action.split()[0] for p in problems if p.action)), events))


def _largest(problems: Sequence[ProblemLine]) -> str:
    """The largest avoidable part of the cost, of the problems of which it is known."""
    known = [(p.cost, -number) for number, p in enumerate(problems, 1) if p.cost is not None]
    return say.LARGEST.format(number=-max(known)[1]) if known else ""


def _tile(
    depot: Depot, measure: MonthMeasure, v: Verdict, goals: dict[str, tuple[str, ...]], shown: tuple[date, date],
    month: date,
) -> Tile:
    """One measure: where its level changed, the mean since then, as the verdict says; else its latest final month."""
    chart = changed(depot.control_chart(measure.measure, window=measure.window, months=shown), v.change)
    goal, line = say.NO_GOAL, None
    if v.measure in goals:
        row = goals[v.measure]
        goal = say.GOAL.format(goal=_bare(row[1]), said=_reached(row, month))
        line = float(number[0]) / 100 if (number := NUMBER.search(row[1])) else None
    key = measure.measure if measure.window == 30 else f"{measure.measure}-{measure.window}"
    # A picture so small has no room to say why it is empty; the tile's words do.
    spec = all_shown(small_control(chart, line).to_dict(validate=False)) if v.share != "no data" else {}
    sign, word = state_of(v, month)
    when = v.month if v.change is None else _span(v.change)
    return Tile(
        key=key, measure=v.measure, of=say.DEFINED.get(v.measure, ""), value=v.level or v.share,
        when=say.near(when, month) if v.share != "no data" else "", sign=sign, word=word, loud=v.word == "worse",
        goal=goal, spec=spec, address=ADDRESSES.get(key, "words"),
    )


def _span(change: LevelChange) -> str:
    """The months since a change of level, as short as a tile is narrow."""
    if change.since == change.until:
        return month_name(change.until)
    first, last = (f"{day:%b %Y}" for day in (change.since, change.until))
    return f"{first.removesuffix(f' {change.until.year}')} to {last}"


def _reached(row: tuple[str, ...], month: date) -> str:
    """Whether a goal is met, or why that cannot be told."""
    _, _, own, met, value, _ = row
    if met in say.GOAL_MET:
        return say.GOAL_MET[met]
    if value == "no data":
        return value
    if met == NOT_YET:
        return say.GOAL_NOT_FINAL.format(month=say.near(own, month))
    return say.GOAL_TOO_FEW.format(month=say.near(own, month))


def state_of(v: Verdict, month: date | None = None) -> tuple[str, str]:
    """The sign and the word of a verdict; `month` is the sheet's, whose year needs not be said."""
    if v.word in ("better", "worse"):
        since = v.since if month is None else say.near(v.since, month)
        return "▲" if v.word == "better" else "▼", say.SINCE.format(word=v.word, since=since)
    if v.word == UNCLEAR:
        return "●", UNCLEAR
    if v.word == "no data":
        return "–", say.NO_EARLIER_MONTH
    return "–", CANNOT_BE_TOLD if v.share == "no data" else say.NO_CHANGE_TOLD


def _reasons(
    judged: Sequence[Verdict], rows: dict[str, tuple[str, ...]], problems: Sequence[ProblemLine], events: int
) -> list[str]:
    """Why somebody has to act."""
    said = [f"{v.measure} {VERBS[v.measure]} worse since {v.since}" for v in judged if v.word == "worse"]
    said += [f"goal missed: {name}" for name, row in rows.items() if row[3] == NO]
    waiting = [p for p in problems if not p.answered]
    said += [f"{counted(len(waiting), 'problem')} without an action"] if waiting else []
    return [*said, *([counted(events, "safety event")] if events else [])]
