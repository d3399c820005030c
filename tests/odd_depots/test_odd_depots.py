"""On every depot with a part missing, all there is works: questions, pictures, commands, the page, the notebooks."""

import re
from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from altair.utils.schemapi import debug_mode
from click.testing import CliRunner

import rqa
from rqa.answers.core.result import Answer
from rqa.cli import main
from rqa.errors import RqaError
from rqa.plots import plot
from rqa.review import describe
from rqa.review.sheet import MOST_WORDS, words_of
from rqa.shown import UNSHOWN
from rqa.words import MONTHS
from tests.odd_depots.cells import NOTEBOOKS, run_cells
from tests.odd_depots.depots import ODD_DEPOTS, write_workspace
from tests.odd_depots.grounds_by_hand import present_by_hand
from tests.odd_depots.questions import Remembering, asked_of, every_question
from tests.odd_depots.sentences import of_no_value, texts_in, unfounded
from tests.odd_depots.soundness import (
    drawn,
    faults_in,
    faults_of,
    fingerprint,
    has_picture,
    names_what_is_missing,
)

IN_THE_GATE = ("one month", "nothing at all")
"""Depots that every run of the tests looks at."""
SLOW = ("jobs only", "no procedures", "no unit twice", "everything open", "no jobs.found", "hostile names")
"""Those that CI looks at too; the others are marked long."""
MOSTLY_REFUSED = ("no jobs.closed_at", "no studies.outcome")
"""Depots of which a load says by its end that it refused most rows of a file: they break a rule without the column."""
MARKUP = re.compile(r"<(script|style|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)
FIRST = """
select least((select min(opened_on) from jobs), (select min(done_on) from steps), (select min(run_on) from diagnostics))
    as day
"""
FROM = re.compile(rf"(?:Counted are [^.]* in |\()({'|'.join(MONTHS)}) (\d{{4}})")
"""The first month of what is counted, on the page and in a finding."""
DRAWN: set[str] = set()
"""The answers whose pictures were compiled, on whatever depot."""
BUILT: set[str] = set()
"""Those whose pictures were put together in a notebook's cell, and not compiled."""
NAMES = [
    name if name in IN_THE_GATE else pytest.param(name, marks=pytest.mark.slow if name in SLOW else pytest.mark.long)
    for name in ODD_DEPOTS
]


@pytest.mark.parametrize("name", NAMES)
class TestOddDepot:
    """One depot, loaded once; what was asked of it once is not asked again."""

    @pytest.fixture
    def workspace(self, name: str, tmp_path: Path) -> Path:
        return write_workspace(name, tmp_path)

    def test_all_there_is_works(self, name: str, workspace: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        trouble = list(_commands_before(workspace, 2 if name in MOSTLY_REFUSED else 0))
        with rqa.open(workspace) as opened:
            depot: Any = Remembering(opened)
            trouble += _questions(depot)
            with monkeypatch.context() as patch:
                patch.setattr(rqa, "open", lambda folder, **how: depot, raising=False)
                patch.setattr(rqa, "plot", _plot_once, raising=False)
                trouble += _notebooks(workspace)
                trouble += _page(workspace)
            trouble += _sentences(depot)
        assert not trouble, "\n".join(trouble)


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, list(words))
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        return 2, f"{type(done.exception).__name__}: {done.exception}"
    return done.exit_code, done.output


def _commands_before(workspace: Path, loaded: int) -> Iterator[str]:
    for command, *more in (["inspect"], ["load"], ["load"], ["action"], ["notebooks", "--no-run"]):
        code, said = run(command, str(workspace), *more)
        if code != (loaded if command in ("inspect", "load") else 0):
            yield f"rqa {command} ends with {code}: {said}"
        if code and not re.match(r"CAUTION: [\d,]+ of [\d,]+ rows of \S+ \(\w+\) were refused", said):
            yield f"rqa {command} does not say first that most was refused: {said}"
        if UNSHOWN.search(said):
            yield f"rqa {command} steers the terminal: {said!a}"


def _questions(depot: Any) -> Iterator[str]:
    for question, asked in every_question(depot):
        label = f"{question}({', '.join(f'{n}={v!r}' for n, v in asked.items())})"
        try:
            answer = asked_of(depot, question)(**asked)
        except RqaError as error:
            if not names_what_is_missing(str(error)):
                yield f"{label}: the error names no table or column: {error}"
            continue
        except Exception as error:
            yield f"{label}: {type(error).__name__}: {error}"
            continue
        if isinstance(answer, Answer):
            yield from (f"{label}: {fault}" for fault in faults_of(answer))
        if has_picture(answer) and _is_new(answer, DRAWN):
            try:
                yield from (f"{label}, drawn: {fault}" for fault in faults_in(drawn(answer)))
            except Exception as error:
                if not TOO_MANY.search(str(error)):
                    yield f"{label}: the picture: {type(error).__name__}: {error}"


TOO_MANY = re.compile(r"^\d+ groups are more than a picture of \d+ panels holds; narrow the question with where=")
"""What a picture says of more groups than anybody reads: an answer of its own, with what to do."""


def _is_new(answer: Answer, kept: set[str]) -> bool:
    """Whether no depot gave this very answer before: a picture depends on its answer alone, and one is enough."""
    mark = fingerprint(answer)
    known = mark in DRAWN or mark in kept
    kept.add(mark)
    return not known


def _plot_once(answer: Answer, **how: Any) -> Any:
    return plot(answer, **how) if how or _is_new(answer, BUILT) else None


def _notebooks(workspace: Path) -> Iterator[str]:
    for notebook in NOTEBOOKS:
        cell = "the first cell"
        try:
            with debug_mode(False):
                for cell, shown in run_cells(notebook, workspace):
                    for text in shown if isinstance(shown, list) else ():
                        yield from (f"{notebook.stem}, {cell}: {fault}" for fault in faults_in(str(text)))
        except Exception as error:
            yield f"{notebook.stem}, after {cell}: {type(error).__name__}: {error}"


def _sentences(depot: Any) -> Iterator[str]:
    """What is said of the depot, in all that was asked by now and in the facts of the page, and is not so."""
    present = present_by_hand(depot)
    said = depot.answers
    with suppress(RqaError):
        page = describe(depot)
        said.append(page)
        if words_of(page.sheet) > MOST_WORDS or len(page.sheet.verdict) != 3 or len(page.sheet.tiles) != 4:
            yield f"the sheet has {words_of(page.sheet)} words: {page.sheet}"
        first = depot.query(FIRST)["day"][0]
        for text in texts_in(page):
            yield from (*faults_in(text), *_too_early(text, first))
    for answer in depot.answers:
        if isinstance(answer, Answer):
            yield from of_no_value(answer)
    for text in texts_in(said):
        yield from unfounded(text, present)


def _too_early(text: str, first: date | None) -> Iterator[str]:
    """Months said to be looked at that lie before the first day with data."""
    for month, year in FROM.findall(text):
        if first is not None and date(int(year), MONTHS.index(month) + 1, 1) < first.replace(day=1):
            yield f"the store begins on {first}: {text}"


def _page(workspace: Path) -> Iterator[str]:
    for form in ("html", "xlsx"):
        code, said = run("review", str(workspace), "--format", form, "--to", str(workspace / f"page.{form}"))
        if code == 0 and form == "html":
            text = MARKUP.sub(" ", (workspace / "page.html").read_text(encoding="utf-8"))
            yield from (f"the page: {fault}" for line in text.splitlines() for fault in faults_in(line))
        elif code and not (code == 1 and names_what_is_missing(said)):
            yield f"rqa review --format {form} ends with {code}: {said}"
