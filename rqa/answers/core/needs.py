"""What an answer says where the grounds of its question are absent.

Every answer that leaves a depot passes through `grounded`: where a ground of its question is absent, its first note
says so and what to add to the mapping; where its table is empty, a note says what was looked for and not found.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import WINDOW, Grounds, Sentence, grounds
from rqa.answers.core.job_lists import Asked
from rqa.answers.core.own_work import hang_on_found
from rqa.answers.core.persons import with_people
from rqa.answers.core.result import Answer, names_of
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.scope_notes import scope_notes
from rqa.answers.core.told_sites import BY_SITE
from rqa.contract import CLASSES
from rqa.words import listed

OF_GROUPING = {
    "class": ("found",), "bench": ("bench",), "tool": ("tool",), "phase": ("procedures", "described_jobs"),
    "step": ("steps",), "fault": ("fault",), "shift": ("step_times",), "shift_hour": ("step_times",),
    "days_since_training": ("step_times",), "test": ("diagnostics",), "station": ("station",),
    "technician": ("technician",), "billing": ("billing",), "part_no": ("parts",), "lot": ("lot",),
}
"""The grounds of a grouping or filter."""
OF_MEASURE = {
    "comebacks": (*SEEN, "matured_jobs"), "comeback": (*SEEN, "matured_jobs"), "jobs_between_comebacks": SEEN,
    "days_between_comebacks": SEEN, "first_pass_yield": ("checks",), "first_pass": ("checks",),
    "failed_checks": ("checks",), "first_run_pass": ("diagnostics",), "first_run": ("diagnostics",),
    "clean_jobs": ("logs",), "clean_job": ("logs",), "labour_minutes": ("labour_minutes",),
    "step_minutes": ("step_times",), "step_values": ("step_values",), "test_values": ("test_values",),
}
"""The grounds of a measure, an outcome, or of what is searched for."""
UNTOLD = "cannot be told"
"""The verdict on come-backs where none can be seen."""

P = ParamSpec("P")
A = TypeVar("A", bound=Answer)


def needs(answer: Answer) -> tuple[str, ...]:
    """The grounds of an answer: those of its question, of its groupings and filters, and of what was measured.

    An empty answer rests on what there is in the jobs asked about, too.
    """
    s = answer.settings
    where = s.get("where")
    named = [*names_of(s.get("by")), *(where if isinstance(where, dict) else ())]
    rest = [answer.needs, answer.also_needs(), answer.looks_at if answer.table.is_empty() else ()]
    rest += [OF_MEASURE.get(str(s[name]), ()) for name in ("measure", "outcome", "what") if s.get(name)]
    classes = s.get("classes")
    rest += [("found",)] if isinstance(classes, tuple) and set(classes) != set(CLASSES) else []
    cause = s.get("cause")
    rest += [("found",)] if isinstance(cause, tuple) and hang_on_found(cause) else []
    rest += [OF_GROUPING.get(name, ()) for name in named]
    return tuple(dict.fromkeys(name for names in rest for name in names))


def with_grounds(snapshot: Snapshot, answer: A) -> A:
    """The answer, with what cannot be told as its first note, or with what was not found where its table is empty."""
    if any(isinstance(note, Sentence) and note.rests_on == (BY_SITE,) for note in answer.notes):
        return answer
    window, looks = answer.settings.get("window"), answer.looks_at and answer.table.is_empty()
    scoped: Any = {name: answer.settings.get(name) for name in ("months", "where")} if looks else {}
    there = grounds(snapshot, window=window if isinstance(window, int) else WINDOW, **scoped)
    answer = _without_comebacks(there, answer)
    said = _said(there, answer)
    if said is not None and not said.told:
        # What cannot be told as a whole compares nothing: 0 of n beside 0 of m would be a comparison in name only.
        answer = replace(answer, stated=())
    return answer if said is None or said in answer.notes else replace(answer, notes=(said, *answer.notes))


def _without_comebacks(there: Grounds, answer: A) -> A:
    """The answer; where no come-back can be seen, without the shares and verdicts that 0 of n would make."""
    import polars as pl

    if not there.lacking("repeat_units") or answer.table.is_empty():
        return answer
    table, notes = answer.table, answer.notes
    answer = replace(answer, stated=tuple(f for f in answer.stated if f.avoided is None))
    if "repeat_units" in needs(answer):
        unknown = [name for name, kind in table.schema.items() if kind.is_float() and name not in answer.apart]
    else:
        unknown = [name for name in answer.of_comebacks if name in table.columns]
        about = f"{answer.question[:1].lower()}{answer.question[1:]}: which jobs came back"
        lack = there.lack("repeat_units", about=about) if unknown else None
        notes = (*notes, lack) if lack else notes
    told = [pl.lit(None, dtype=table.schema[name]).alias(name) for name in unknown]
    if unknown and table.schema.get("verdict") == pl.String:
        told.append(pl.lit(UNTOLD).alias("verdict"))
    return replace(answer, table=table.with_columns(told), notes=notes) if told else answer


def said_of(answer: Answer, text: str) -> Sentence:
    """What an answer that left a depot lets one say: `text`, or its own note that this cannot be told."""
    return untold(answer) or Sentence(text, needs(answer))


def untold(answer: Answer) -> Sentence | None:
    """The note of an answer that left a depot that it cannot be told as a whole; None where it can."""
    rests_on = needs(answer)
    said = (n for n in answer.notes if isinstance(n, Sentence) and not n.told)
    # What an answer that rests on nothing lacks is lacking of a part of it.
    return next((n for n in said if n.rests_on and n.rests_on in (rests_on, (BY_SITE,))), None)


def grounded(ask: Callable[Concatenate[Snapshot, P], A]) -> Callable[Concatenate[Snapshot, P], A]:
    """A question whose answer says what it lacks, and that it tells of people where it does."""

    @wraps(ask)
    def asked(snapshot: Snapshot, /, *args: P.args, **how: P.kwargs) -> A:
        answer = with_people(snapshot, with_grounds(snapshot, ask(snapshot, *args, **how)))
        more = [note for note in scope_notes(snapshot, answer.settings) if note not in answer.notes]
        return replace(answer, notes=(*answer.notes, *more), asked_of=Asked(snapshot))

    return asked


def _said(there: Grounds, answer: Answer) -> Sentence | None:
    names, by = needs(answer), names_of(answer.settings.get("by"))
    about = answer.question[:1].lower() + answer.question[1:]
    if by and not there.lacking(*answer.needs):
        about += f" by {' and '.join(name.replace('_', ' ') for name in by)}"
    unnamed = listed([name.replace("_", " ") for name in _unnamed(answer)])
    if unnamed and not there.lacking(*names):
        said = there.claim("", *names, about=about, among=(0, f"values of {unnamed} in the filter"))
        return said.followed(f"Leave {unnamed} out of where= to ask about all.")
    if answer.table.is_empty():
        among = (len(answer.stated), "comparisons that could be made") if answer.judges_all else None
        return there.claim(answer.nothing_found, *names, about=about, among=among)
    return there.lack(*names, about=about)


def _unnamed(answer: Answer) -> list[str]:
    """The filters that keep no value at all, as a list made from an empty table does: nothing was asked about."""
    where = answer.settings.get("where")
    return [name for name, kept in where.items() if not kept] if isinstance(where, Mapping) else []
