"""What every answer, picture and text must satisfy on any depot."""

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import fields
from html import escape
from typing import Any

import polars as pl
from altair.utils.schemapi import debug_mode

from rqa.answers.core.grounds import Sentence
from rqa.answers.core.needs import needs, untold
from rqa.answers.core.result import Answer, names_of
from rqa.contract import TABLES
from rqa.plots import plot
from rqa.plots.pictures import pictures
from rqa.plots.renderer import compiled

SHARE_OF = {"rate": "matured", "yield": "exposures", "dpu": "jobs", "fails_per_1000": "checked"}
"""Columns that are shares, with what they are shares of."""
RATIOS = ("ratio", "odds_ratio", "lift")
"""Columns that are infinite where nothing stands below the line; upper limits may be, too."""
OF_NOTHING = re.compile(r"\b0(?:\.0+)? ?% \(0 of 0\b|\b0 of 0\b.{0,12}\b0(?:\.0+)? ?%")
NO_NUMBER = re.compile(r"\b(nan|inf|null)\b|\bNone\b(?! (is|are|of|was|were) )")
WITH_LIMITS = re.compile(
    r"(\d+(?:\.\d+)?)\s?% \((?:\d+ % )?(?:interval )?(\d+(?:\.\d+)?) (?:% )?to (\d+(?:\.\d+)?)\s?%[);]"
)
"""A share and, in brackets behind it, limits: 12.5 % (8.0 to 19.1 %)."""
ONE_OF_MANY = re.compile(
    r"(?<![\d.,/])\b1 (?:jobs|months|weeks|days|files|rows|units|come-backs|mixes|cases|checks|points|comparisons)\b"
    r"|(?<![\d.,/])\b1 of [\d,]+ \w[\w-]* (?:are|have)\b"
)
"""One thing that is told of as of several."""
OF_COMEBACKS = re.compile(r"\bunits? came back more|\bprojections? held|\bof matured jobs came back")
"""Counts and shares of come-backs in a note."""
NO_FIGURE_WITH_LIMITS = re.compile(r"no data \(no data|\b0 in all\b[^;]*no data")
"""What is unknown, told with limits or as a sum of nothing."""
NO_RANGE = re.compile(r"between (\d[\d.,]*) and \1\s?%")
AS_ONE = ("attributed", "per_10000", "low", "high", "cost_per_1000", "cost_low", "cost_high")
"""What steps have in common that the logs do not tell apart."""
ROUNDED = 0.51
"""Percentage points that a share and its limits may be rounded by, where they are told without decimals."""
NAMED = {*TABLES, *(column for table in TABLES.values() for column in table.names)}


def names_what_is_missing(message: str) -> bool:
    """Whether an error's text names a table or a column of the contract."""
    return bool(set(re.findall(r"\w+", message)) & NAMED)


def faults_of(answer: Answer) -> Iterator[str]:
    """What is unsound in an answer's table and notes."""
    for name, kind in answer.table.schema.items():
        if kind.is_float():
            column = answer.table[name].drop_nulls()
            endless = name in RATIOS or name.endswith("high")
            if column.is_nan().any() or (not endless and column.is_infinite().any()):
                yield f"{name} holds a number that is none"
    for share, whole in SHARE_OF.items():
        if {share, whole} <= set(answer.table.columns):
            of_nothing = answer.table.filter(pl.col(whole) == 0)[share]
            if of_nothing.null_count() < of_nothing.len():
                yield f"{share} of no {whole} is told"
    if untold(answer) and answer.stated:
        yield f"cannot be told, and states {len(answer.stated)} comparisons: {answer.stated[0].what}"
    yield from _of_unseen_comebacks(answer)
    yield from _of_steps_as_one(answer)
    for text in (*answer.notes, *(f"{f.where} {f.what} {f.caution} {f.check}" for f in answer.stated)):
        yield from faults_in(text)
    if not (repr(answer).startswith(f"{answer.question} (") and escape(answer.question) in answer._repr_html_()):
        yield f"does not print as the others do: {repr(answer)[:80]}"


def _of_unseen_comebacks(answer: Answer) -> Iterator[str]:
    """What an answer says of come-backs although it says itself that none can be seen."""
    if answer.table.is_empty():
        return
    columns = set(answer.table.columns)
    if not {*answer.apart, *answer.of_comebacks} <= columns:
        yield f"names columns that are not in its table: {answer.apart}, {answer.of_comebacks}"
    if not any(isinstance(note, Sentence) and "repeat_units" in note.lacks for note in answer.notes):
        return
    if "repeat_units" in needs(answer):
        about = {name for name, kind in answer.table.schema.items() if kind.is_float()} - set(answer.apart)
        for note in answer.notes:
            if OF_COMEBACKS.search(note):
                yield f"a come-back is told where none can be seen: {note}"
    else:
        about = set(answer.of_comebacks)
    for name in sorted(about):
        if answer.table[name].null_count() < answer.table.height:
            yield f"{name} is told where no come-back can be seen"
    if about and "verdict" in columns and set(answer.table["verdict"]) != {"cannot be told"}:
        yield f"a verdict is told where no come-back can be seen: {set(answer.table['verdict'])}"


def _of_steps_as_one(answer: Answer) -> Iterator[str]:
    """Steps that are said not to be told apart, and have numbers of their own all the same."""
    if not {*AS_ONE, "step", "shared_with"} <= set(answer.table.columns):
        return
    groups = [n for n in names_of(answer.settings.get("by")) if n in answer.table.columns]
    numbers: dict[Any, set[Any]] = {}
    for row in answer.table.iter_rows(named=True):
        if row["shared_with"]:
            steps = frozenset((row["step"], *row["shared_with"].split(", ")))
            numbers.setdefault((*(row[g] for g in groups), steps), set()).add(tuple(row[n] for n in AS_ONE))
    several = {key: each for key, each in numbers.items() if len(each) > 1}
    yield from (f"{key} are one and have several numbers: {each}" for key, each in several.items())


def faults_in(text: str) -> Iterator[str]:
    """What is unsound in a sentence."""
    if OF_NOTHING.search(text):
        yield f"a share of nothing: {text}"
    if NO_NUMBER.search(text):
        yield f"no number: {text}"
    if NO_FIGURE_WITH_LIMITS.search(text):
        yield f"what is not known is told as a figure: {text}"
    if NO_RANGE.search(text):
        yield f"a range from a number to itself: {text}"
    if ONE_OF_MANY.search(text):
        yield f"one told of as several: {text}"
    for share, low, high in WITH_LIMITS.findall(text):
        if not float(low) - ROUNDED <= float(share) <= float(high) + ROUNDED:
            yield f"the limits {low} to {high} % are not those of {share} %: {text}"


def fingerprint(answer: Answer) -> str:
    """The same for two answers only if all they hold is the same."""
    made = hashlib.sha256(type(answer).__name__.encode())
    for field in fields(answer):
        value = getattr(answer, field.name)
        if isinstance(value, pl.DataFrame):
            made.update(repr(value.schema).encode())
            made.update(value.write_ipc(None).getvalue())
        else:
            made.update(repr(dict(value) if isinstance(value, Mapping) else value).encode())
    return made.hexdigest()


def has_picture(answer: Any) -> bool:
    """Whether there is a picture of this kind of answer."""
    return type(answer) in pictures()


def drawn(answer: Answer) -> str:
    """Draw an answer, compile the picture as a viewer would, and return its text alternative.

    The compiler judges the picture, so the drawing library need not look at each part of it too, which takes longer.
    """
    with debug_mode(False):
        spec = plot(answer).to_dict(validate=False)
    compiled(spec)
    return str(spec["description"])
