"""A wider profile makes every property test look wider, also those that ask for a number of examples of their own."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cases import some_slow

TESTS = Path(__file__).resolve().parents[1]
PROFILES = "conftest.py"


def own_numbers(path: Path) -> list[int]:
    """The lines where a number of examples is fixed for every profile."""
    text = path.read_text(encoding="utf-8")
    if "max_examples" not in text:
        return []
    return [
        node.value.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.keyword) and node.arg == "max_examples" and not isinstance(node.value, ast.Call)
    ]


def test_no_number_of_examples_holds_in_every_profile() -> None:
    looked_at = [path for path in sorted(TESTS.rglob("*.py")) if path.name != PROFILES]
    assert len(looked_at) > 100
    found = [f"{path.relative_to(TESTS)}:{line}" for path in looked_at for line in own_numbers(path)]
    assert not found, "say max_examples=examples(n)"


@pytest.mark.parametrize(("profile", "asked"), some_slow([("gate", 4), ("whole", 40), ("wide", 200)], [("wide", 200)]))
def test_a_profile_on_the_command_line_is_in_force_when_tests_are_imported(
    profile: str, asked: int, tmp_path: Path
) -> None:
    (tmp_path / "conftest.py").write_text((TESTS / PROFILES).read_text(encoding="utf-8"), encoding="utf-8")
    text = f"from tests.examples import examples\nNOW = examples(40)\ndef test_it():\n    assert NOW == {asked}\n"
    (tmp_path / "test_it.py").write_text(text, encoding="utf-8")
    words = ["-q", "-p", "no:cacheprovider", f"--hypothesis-profile={profile}", str(tmp_path)]
    found = os.environ | {"PYTHONPATH": str(TESTS.parent)}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words], cwd=tmp_path, env=found, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
