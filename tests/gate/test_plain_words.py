"""Texts say things in the words of the trade and of statistics: none of the phrases that readers stumbled over."""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from rqa.cli import main

ROOT = Path(__file__).resolve().parents[2]
BANNED = (
    "more than luck", "by luck", "laid to", "like work", "than its like", "set beside", "to be believed",
    "to be mended", "turn them round", "ask twice", "look at it:", "Mind:", "it is no rate", "books the difference",
    "what it is to bring",
)
"""Phrases of our own making; the texts say statistically clear, by chance, attributed to, comparable work instead."""
TEXTS = sorted(
    path
    for pattern in ("rqa/**/*.py", "rqa/**/*.j2", "rqa/**/*.toml", "notebooks/*.ipynb", "shared/*.md", "*.md")
    for path in ROOT.glob(pattern)
)


GUIDES = [p for p in TEXTS if p.suffix in (".ipynb", ".md") and p.name != "DEVELOPERS.md"]
LONGEST, MEAN = 35, 18
"""Words that a sentence may have, and may have on average: common practice for readers of a second language."""


def _said(path: Path) -> Iterator[str]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ipynb":
        yield from ("".join(cell["source"]) for cell in json.loads(text)["cells"] if cell["cell_type"] == "markdown")
    else:
        yield text


def _sentences(text: str) -> Iterator[str]:
    """The sentences of prose in Markdown: without code, tables, pictures and headings; an item of a list is one."""
    text = re.sub(r"```.*?```", "", text, flags=re.S)
    text = re.sub(r"^(?:\||#|!\[).*$", "", text, flags=re.M)
    text = re.sub(r"`[^`]*`", "code", text)
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text)
    for paragraph in re.split(r"\n\s*\n|\n(?=\s*[-*] )", text):
        yield from re.split(r"(?<=[.!?:;])\s+", " ".join(paragraph.split()))


def test_no_text_has_a_phrase_that_readers_stumbled_over() -> None:
    banned = re.compile(rf"\b(?:{'|'.join(map(re.escape, BANNED))})")
    assert len(TEXTS) > 100
    texts = {str(path.relative_to(ROOT)): " ".join(" ".join(_said(path)).split()) for path in TEXTS}
    assert {name: found for name, said in texts.items() if (found := banned.findall(said))} == {}


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.name)
def test_the_sentences_of_guides_and_notebooks_are_short(path: Path) -> None:
    words = [len(s.split()) for said in _said(path) for s in _sentences(said) if s.strip()]
    long = [s for said in _said(path) for s in _sentences(said) if len(s.split()) > LONGEST]
    assert not long
    assert sum(words) <= MEAN * len(words)


MODULES = sorted((ROOT / "rqa").rglob("*.py"))


def _text_of(node: ast.AST) -> str:
    """A text of the program, with an X for what is put into it."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    if isinstance(node, ast.JoinedStr):
        return "".join(_text_of(part) if isinstance(part, ast.Constant) else "X" for part in node.values)
    return _text_of(node.left) + _text_of(node.right) if isinstance(node, ast.BinOp) else ""


def _errors(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            yield from filter(None, map(_text_of, node.exc.args))


def _docstrings(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        documented = isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        if documented and not getattr(node, "name", "").startswith("_") and (said := ast.get_docstring(node)):
            yield said


def _without_asides(sentence: str) -> str:
    """A sentence of a docstring without what stands in brackets; nothing where it is a formula or a list of columns."""
    for _ in range(3):
        sentence = re.sub(r"\([^()]*\)", "", sentence)
    formula = re.search(r" [=<>]=? | sqrt|\^", sentence) or len(re.findall(r"[a-z]+_[a-z_]+", sentence)) >= 4
    return "" if formula else sentence


def _of_docstring(text: str) -> Iterator[str]:
    text = re.sub(r"^\s*>>>.*?(?:\n\s*\n|\Z)", "\n\n", text, flags=re.S | re.M)
    yield from map(_without_asides, _sentences(text))


def test_the_sentences_of_errors_and_docstrings_are_short() -> None:
    assert len(MODULES) > 100
    long = []
    for path in MODULES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        said = [s for text in _errors(tree) for s in _sentences(text)]
        said += [s for text in _docstrings(tree) for s in _of_docstring(text)]
        long += [(str(path.relative_to(ROOT)), s) for s in said if len(s.split()) > LONGEST]
    assert long == []


def test_the_sentences_of_commands_help_are_short() -> None:
    groups, said = [main], []
    while groups:
        group = groups.pop()
        for command in group.commands.values():
            groups += [command] if isinstance(command, click.Group) else []
            said += [command.help or "", *(getattr(option, "help", "") or "" for option in command.params)]
    assert len(said) > 50
    assert not [s for text in said for s in _sentences(text) if len(s.split()) > LONGEST]
    assert not [phrase for text in said for phrase in BANNED if re.search(rf"\b{re.escape(phrase)}", text)]


def test_a_long_sentence_would_be_found() -> None:
    long = " ".join(["word"] * (LONGEST + 1)) + "."
    made = ast.parse(f'def f():\n    """{long}"""\n    raise ValueError(f"{{x}} {long}")\n')
    assert [len(s.split()) for text in _docstrings(made) for s in _of_docstring(text)] == [LONGEST + 1]
    assert [len(s.split()) for text in _errors(made) for s in _sentences(text)] == [LONGEST + 2]
    assert not list(_docstrings(ast.parse('def _f():\n    """Word."""')))
