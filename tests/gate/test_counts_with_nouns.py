"""A number with a noun of several is put together by `words.counted` alone, so that one is never told of as several.

Every text in `rqa` that puts a value straight before such a noun, at most two words between, is looked at. Fixed
numbers above one (names in capitals), figures told with decimals and differences with their sign may stand there.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "rqa"
NOUNS = (
    "actions", "alternatives", "answers", "appraisers", "attempts", "breaches", "bursts", "bytes", "cases",
    "categories", "causes", "cells", "charts", "checks", "columns", "come-backs", "comparisons", "curves", "days",
    "dimensions", "echoes", "ends", "entries", "escapes", "events", "exposures", "fails", "failures", "faults",
    "fields", "files", "findings", "goals", "groups", "hours", "jobs", "kinds", "letters", "lines", "losses",
    "measurements", "minutes", "mixes", "models", "months", "notebooks", "others", "pairs", "panels", "passes",
    "patterns", "people", "periods", "persons", "places", "points", "procedures", "projections", "readings",
    "records", "repairs", "repeats", "returns", "rows", "rules", "runs", "samples", "seconds", "sets", "sheets",
    "shifts", "signals", "sites", "statements", "steps", "subgroups", "tables", "technicians", "tests", "times",
    "trials", "units", "values", "visits", "weeks", "windows", "years",
)
FOLLOWED = re.compile(rf"^[ \u00a0]((?:[a-z][a-z-]* ){{0,2}})({'|'.join(NOUNS)})\b")
BETWEEN = {
    "a", "after", "and", "are", "as", "at", "back", "beside", "but", "by", "each", "fails", "for", "from", "gives",
    "has", "have", "holds", "in", "is", "its", "less", "must", "no", "of", "on", "or", "out", "passes", "per", "runs",
    "so", "takes", "than", "that", "the", "their", "to", "was", "were", "which", "whose", "with", "within", "without",
    "does", "names", "left",
}
"""Words behind which a noun is not that of the number before them."""
HELD = {"of", "work", "events", "cases", "noun", "many", "several"}
"""Names of what holds a noun of several: a number straight before one is the same fault."""
NAMES_OR_ENDS = ("name", "a", "table", "doing", "path.name")
"""What is no number: a name before a verb, the beginning of a sentence, a table of SQL."""
SAID_BY = {"words.py"}
"""The helper itself."""


def is_fixed_or_told_exactly(value: ast.FormattedValue) -> bool:
    """A name in capitals, whose value stands in the code, or a figure with decimals or a sign, such as "1.0 times"."""
    name = value.value
    fixed = isinstance(name, ast.Name) and name.id.isupper()
    form = ast.unparse(value.format_spec) if value.format_spec is not None else ""
    return fixed or bool(re.search(r"\.[1-9]\d*f|\+", form))


def is_said(value: ast.expr) -> bool:
    """Whether the value is a difference told with its sign and decimals, or a text chosen from two."""
    if isinstance(value, ast.Call):
        return getattr(value.func, "id", "") in ("points", "signed")
    return isinstance(value, ast.IfExp) and isinstance(value.body, ast.Constant)


def is_number(value: ast.FormattedValue) -> bool:
    """Whether a value is told as a count: by `count`, or with its thousands set apart and no decimals."""
    call = value.value
    by_name = isinstance(call, ast.Call) and getattr(call.func, "id", "") == "count"
    return by_name or (value.format_spec is not None and ast.unparse(value.format_spec) == "f','")


def before_a_held_noun(node: ast.JoinedStr) -> Iterator[tuple[int, str]]:
    """The places where a count stands before a noun of several that a name holds: {n:,} {reading.of}."""
    for value, blank, noun in zip(node.values, node.values[1:], node.values[2:], strict=False):
        if isinstance(value, ast.FormattedValue) and isinstance(noun, ast.FormattedValue) and is_number(value):
            held = noun.value
            name = held.attr if isinstance(held, ast.Attribute) else getattr(held, "id", "")
            if name in HELD and isinstance(blank, ast.Constant) and blank.value in (" ", "\u00a0"):
                yield value.lineno, f"{{{ast.unparse(value.value)}}} {{{ast.unparse(held)}}}"


def by_hand(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """The places where a value stands before a noun of several."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.JoinedStr):
            continue
        yield from before_a_held_noun(node)
        for value, text in zip(node.values, node.values[1:], strict=False):
            if not isinstance(value, ast.FormattedValue) or not isinstance(text, ast.Constant):
                continue
            found = FOLLOWED.match(str(text.value))
            if not found or set(found[1].split()) & BETWEEN or is_fixed_or_told_exactly(value) or is_said(value.value):
                continue
            source = ast.unparse(value.value)
            if source not in NAMES_OR_ENDS:
                yield value.lineno, f"{{{source}}}{text.value}"


def test_a_count_and_its_noun_are_put_together_in_one_place() -> None:
    looked_at = [path for path in sorted(ROOT.rglob("*.py")) if path.name not in SAID_BY]
    assert len(looked_at) > 100
    found = [
        f"{path.relative_to(ROOT)}:{line}: {text}"
        for path in looked_at
        for line, text in by_hand(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not found, "say these with words.counted or counted_of, which knows one from several"


@pytest.mark.parametrize(
    "text",
    [
        'f"{n} jobs"', 'f"{n:,} more rows"', 'f"{count(n)} first checks are"', 'f"{n:g} times the odds"',
        'f"of {n:.0f} come-backs"', 'f"{len(x)} of {y} files"',
        'f"{count(n)} {reading.of}"', 'f"{n:,} {about.work}"', 'f"{a}{b}\u00a0units"',
    ],
)
def test_a_count_put_together_by_hand_is_seen(text: str) -> None:
    assert list(by_hand(ast.parse(text)))


@pytest.mark.parametrize(
    "text",
    [
        'f"{n:.1f} times"',
        'f"{MOST} rows"',
        'f"{n} of the rows"',
        "f\"{counted(n, 'job')} of\"",
        'f"{points(x)} points"',
    ],
)
def test_what_is_right_is_let_be(text: str) -> None:
    assert not list(by_hand(ast.parse(text)))
