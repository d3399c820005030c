"""The README says what is true: its dictionary is the contract's, its commands are those of CI."""

import re
from pathlib import Path

from rqa.dictionary import renewed

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_dictionary_is_the_contract() -> None:
    page = (ROOT / "shared" / "data_dictionary.md").read_text(encoding="utf-8")
    assert renewed(page) == page, "run: python -m rqa.dictionary shared/data_dictionary.md"


def test_it_is_short() -> None:
    assert len(README.splitlines()) <= 150


def test_ci_runs_the_command_of_the_readme() -> None:
    command = ".venv/bin/python -m pytest"
    assert command in README
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_links_and_pictures_exist() -> None:
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "shared").glob("*.md")):
        for text, target in re.findall(r"\[([^\]]*)\]\(([^)#]*)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert text.strip(), f"{page.name}: a link to {target} without a text"
            assert target.strip(), f"{page.name}: the link “{text}” leads nowhere"
            assert (page.parent / target).exists(), f"{page.name}: {target}"
