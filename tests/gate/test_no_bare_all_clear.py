"""A sentence that says that nothing was found cannot be a bare text: it is made where its grounds are named.

Every text in `answers`, `plots` and `review` that reads like an all-clear stands in a call of one of the doors, or is
listed below with what it says instead. Whoever adds one decides which it is: an all-clear goes through `Grounds.claim`.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "rqa"
ROOMS = ("answers", "plots", "review")
CLAIMED = "nothing_found"
"""What a type of answer gives `Grounds.claim` to say of an empty table."""
DOORS = {"claim", "said_of", "followed"}
"""Calls that make a sentence with its grounds, or add to one."""
MAKES = {"answers/core/grounds.py", "answers/core/ground_list.py", "answers/core/needs.py", "answers/core/result.py"}
"""The doors themselves, and the texts they are given."""
SENTENCES = {
    "answers/core/grounds.py", "answers/core/needs.py", "answers/core/told_sites.py", "answers/comebacks/counted.py",
    "answers/core/kept_answers.py", "answers/improve/scope_seen.py", "review/improve/verdicts.py",
    "review/tests/diagnostics.py", "review/improve/findings.py", "review/data/provenance.py", "review/sheet.py",
}
"""Where a `Sentence` is put together by hand: out of other sentences, with what it lacks, or as it was
kept."""
READS_LIKE_ONE = re.compile(
    r"(?:^|[.;:!?,] )(?:no|nothing|none|neither|nobody)\b"
    r"|\b(?:no|none|nothing|nobody)\b[^.;:]{0,60}\b(?:is|are|was|were|has|have|had|differs?|stands?|moved|failed|fell"
    r"|came|comes|can|could)\b"
    r"|\b(?:is|are|was|were|has|have|with|by|of|there) (?:no|none|nothing)\b"
    r"|\b(?:same as|alike|no more than chance|not statistically clear|within chance variation|unchanged)\b"
    r"|\b(?:in order|as before|nothing but)\b"
    r"|^(?:all|every|each)\b[^.]*\b(?:is|are|was|were|has|have|differs?|passed?|came)\b",
    re.IGNORECASE,
)
"""Texts of four words or more that match are looked at."""
CAUTIONS = (
    "no verdict on a person", "This list is no rate", "is no proof of harm", "no proof of good work",
    "An index is no promise", "no figure justifies", "no force", "no prying", "are no rate", "not a rate",
    "No figure here", "No figure justifies", "nothing else", "No decision on a person",
)
LEFT_OUT = (
    "have no date", "has no date", "is in no period", "have no row", "left out", "have no index", "not counted",
    "What has no date", "have no value", "no time, so what came next", "no confirmed fault", "name no",
    "so none is used",
    "nor has the job", "have no known cost", "No come-back of these has a known cost", "no job at the sites concerned",
    "no part of the cost is counted", "so there is no cost",
)
LACKING = (
    "There is no matured work", "No action that has begun", "No row of the store has", "Nothing alike stands beside",
    "No limit is known", "it has no Cpk", "so there are no limits", "No chart has limits",
    "nothing to tell a change by",
    "names no test that was run", "There are no two groups", "nothing says what a test covers", "has no cases",
    "There are no groups worth the name", "No curve: it takes", "no guard band", "No job has been followed",
    "or none that had returns", "No planned study", "None of the studies", "No job has both", "named no site",
    "No first run has a value", "nothing to compare with", "no scatter to judge by",
    "its figures will still change", "no limits yet", "No limits: too little data",
    "no step log with times", "no fail that can be judged", "no fault known", "no data", "no curve fits",
    "not known: no",
    "no ratio: nothing to compare with", "No trend is fitted", "no matured job yet", "there is no earlier month",
    "there is nothing to tell it by", "has no final rate yet", "so no change with practice can be seen",
    "No job was closed", "has no final figure", "have no step log", "most jobs have no diagnostics",
    "was ever done in the", "is ever logged at",
    "No job that could come back was closed",
    "no step of it is logged", "No steps of a procedure are known", "No step of its procedure is logged",
    "no come-back can be attributed to it", "every first run was aborted", "which is no share", "no scatter at all",
)
HOW_TO_READ = (
    "no longer statistically clear", "Where no change was stated", "is no burst", "Each class is counted",
    "Each job is expected", "Were the groups alike", "looks like none", "is a way of reading, no cause", "no cause",
    "are no fair sample", "no table says what is required", "looks the same as", "a row = jobs that failed alike",
    "no other came back", "dot = share of failed runs", "share of fails after which", "Fails after which nothing",
    "passed again with nothing done", "the tests in order", "tests in order", "which is no rank", "nothing more was",
    "no test covers", "No test covers what was found", "Each row is", "Each dot is", "Each is set against",
    "no longer on the page", "No longer statistically",
    "No other page of", "Every checked step", "Each unit was measured once", "no change to be seen",
    "with nothing done", "jobs with nothing failed",
    "a repeat may also be", "nothing found or written down", "no proof",
)
SAYS_ELSE = (*CAUTIONS, *LEFT_OUT, *LACKING, *HOW_TO_READ)
"""Texts that match and are no all-clear: what is not to be read into a figure, rows left out, what is not there to be
judged, how a picture is read."""


def text_of(node: ast.AST) -> str:
    """A text, with {} for what is put into it."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    if isinstance(node, ast.JoinedStr):
        return "".join(text_of(v) if isinstance(v, ast.Constant) else "{}" for v in node.values)
    return ""


def called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def bare_texts(node: ast.AST, given: frozenset[str] = frozenset()) -> Iterator[tuple[int, str]]:
    """Every text that is no message of an error, no docstring, and not given to a door; `given` are names that are."""
    if isinstance(node, ast.Raise | ast.arguments):
        return
    if isinstance(node, ast.FunctionDef):
        calls = [c for c in ast.walk(node) if isinstance(c, ast.Call) and called(c) in DOORS and c.args]
        given = frozenset(n.id for c in calls for arg in c.args for n in ast.walk(arg) if isinstance(n, ast.Name))
        for part in node.body:
            yield from bare_texts(part, given)
        return
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return
    if isinstance(node, ast.Assign) and any(
        isinstance(t, ast.Name) and t.id in {*given, CLAIMED} for t in node.targets
    ):
        return
    if isinstance(node, ast.Call) and called(node) in DOORS:
        return
    if isinstance(node, ast.Constant | ast.JoinedStr):
        if text := text_of(node):
            yield node.lineno, text
        return
    for part in [node.value] if isinstance(node, ast.AnnAssign) and node.value else ast.iter_child_nodes(node):
        yield from bare_texts(part, given)


def modules() -> list[Path]:
    return [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]


def place(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_an_all_clear_is_made_where_its_grounds_are_named() -> None:
    looked_at = [path for path in modules() if place(path) not in MAKES]
    assert len(looked_at) > 100
    found = [
        f"{place(path)}:{line}: {text}"
        for path in looked_at
        for line, text in bare_texts(ast.parse(path.read_text(encoding="utf-8")))
        if len(text.split()) >= 4 and READS_LIKE_ONE.search(text) and not any(known in text for known in SAYS_ELSE)
    ]
    assert not found, (
        "these read like all-clears: make each with Grounds.claim (or said_of in a picture), naming what it rests on; "
        "or, where it says something else, list it in this test"
    )


def test_a_sentence_is_put_together_in_few_places() -> None:
    made = {
        place(path)
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and called(node) == "Sentence"
    }
    assert made == SENTENCES


@pytest.mark.parametrize(
    "text",
    [
        "No station is seen to drift.", "Nothing to act on: of {} none is.", "In {} no job is logged with it.",
        "All who can be judged are alike.", "Quality is the same as before.", "None of {} runs failed.",
        "{}, and none is fuller than chance.", "Every battery was isolated in time.", "{}; no test stands out in this.",
    ],
)
def test_what_reads_like_an_all_clear_is_seen(text: str) -> None:
    """Bare, it is found; given to a door, it is not."""
    for bare in (f"x = [{text!r}]", f"def f():\n    words = {text!r}\n    return words", f"NONE = {text!r}"):
        ((_, seen),) = bare_texts(ast.parse(bare))
        assert READS_LIKE_ONE.search(seen)
        assert not any(known in seen for known in SAYS_ELSE)
    for made in (
        f"there.claim({text!r}, 'steps', about='it')",
        f"def f():\n    a = {text!r}\n    return said_of(b, a)",
    ):
        assert list(bare_texts(ast.parse(made))) == []
