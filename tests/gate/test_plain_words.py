"""Texts say things in the words of the trade and of statistics: none of the phrases that readers stumbled over."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

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


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_text_has_a_phrase_that_readers_stumbled_over(path: Path) -> None:
    said = " ".join(" ".join(_said(path)).split())
    assert not [phrase for phrase in BANNED if re.search(rf"\b{re.escape(phrase)}", said)]


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.name)
def test_the_sentences_of_guides_and_notebooks_are_short(path: Path) -> None:
    words = [len(s.split()) for said in _said(path) for s in _sentences(said) if s.strip()]
    long = [s for said in _said(path) for s in _sentences(said) if len(s.split()) > LONGEST]
    assert not long
    assert sum(words) <= MEAN * len(words)
