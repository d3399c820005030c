"""The README says what is true: its dictionary is the contract's, its commands are those of CI."""

import re
from pathlib import Path

from rqa.dictionary import renewed

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_dictionary_is_the_contract() -> None:
    assert renewed(README) == README, "run: python -m rqa.dictionary README.md"


def test_ci_runs_the_command_of_the_readme() -> None:
    command = ".venv/bin/python -m pytest"
    assert command in README
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_links_and_pictures_exist() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), f"{name}: {target}"
