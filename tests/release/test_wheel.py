"""The wheel holds all that the package reads, nothing else, and says what it is; what `rqa` imports is declared.

That it works alone is tried by `wheel_trial.py`, which installs it.
"""

import ast
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from email import message_from_string
from email.message import Message
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from rqa.published_examples.tables import FILES

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
CHANGELOG = (ROOT / "rqa" / "CHANGELOG.md").read_text("utf-8")
RUBBISH = ("notebooks/.ipynb_checkpoints/a.ipynb", "rqa/__pycache__/x.cpython-311.pyc", "notebooks/a.duckdb")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """Built from a copy of what a wheel is made from, in which somebody has worked."""
    made = tmp_path_factory.mktemp("wheel")
    tree = made / "tree"
    for name in ("rqa", "notebooks", "shared"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", ".ipynb_checkpoints"))
    for name in ("pyproject.toml", "README.md", ".gitignore"):
        shutil.copy(ROOT / name, tree / name)
    for name in RUBBISH:
        (tree / name).parent.mkdir(exist_ok=True)
        (tree / name).write_text("{}", encoding="utf-8")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(made)],
        cwd=tree, check=True, capture_output=True,
    )
    return zipfile.ZipFile(next(made.glob("*.whl")))


TESTED_BY = {"rqa/conftest.py"}
"""What stands in the package for its examples to be tested, and stays out of the wheel."""
OF_AN_EXTRA = {"sealed.py": ("encrypt",), "control_widgets.py": ("panel",), "engines.py": ("spark", "dask")}
"""Modules that take libraries of extras, each with its extras; they say what to install where these are missing."""


def metadata(wheel: zipfile.ZipFile) -> Message:
    return message_from_string(wheel.read(f"rqa-{PROJECT['version']}.dist-info/METADATA").decode())


def test_it_holds_all_that_the_package_reads_and_nothing_else(wheel: zipfile.ZipFile) -> None:
    own = {p.relative_to(ROOT).as_posix() for p in (ROOT / "rqa").rglob("*") if p.is_file() and p.suffix != ".pyc"}
    own -= TESTED_BY
    bundled = {f"rqa/_bundled/shared/{name}" for name in FILES}
    bundled |= {f"rqa/_bundled/notebooks/{path.name}" for path in (ROOT / "notebooks").glob("*.ipynb")}
    found = {name for name in wheel.namelist() if ".dist-info/" not in name}
    assert found == own | bundled
    assert {"rqa/py.typed", "rqa/LICENSE", "rqa/CHANGELOG.md", "rqa/review/page.css"} <= found
    assert len(bundled) >= 12


def test_it_says_what_it_is_and_names_no_host(wheel: zipfile.ZipFile) -> None:
    told = metadata(wheel)
    assert told["Version"] == PROJECT["version"]
    assert told["License-Expression"] == "MIT"
    assert told["License-File"] == "rqa/LICENSE"
    assert f"rqa-{PROJECT['version']}.dist-info/licenses/rqa/LICENSE" in wheel.namelist()
    assert "Typing :: Typed" in told.get_all("Classifier", [])
    assert not any("://" in line for line in told.as_string().splitlines() if ": " in line[:20])


def imported(path: Path) -> set[str]:
    """Top-level names that a module imports from outside, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - {"rqa"}


def plain(requirement: str) -> str:
    """A distribution's name as it is compared: lower case, dashes."""
    return re.sub(r"[-_.]+", "-", re.split(r"[^\w.-]", requirement, maxsplit=1)[0]).lower()


def test_whatever_is_imported_is_declared() -> None:
    """Development has all libraries at hand, so that one left out shows only where the wheel is installed alone."""
    declared = {plain(requirement) for requirement in PROJECT["dependencies"]}
    extras = PROJECT["optional-dependencies"]
    more = {
        file: {plain(requirement) for name in names for requirement in extras[name]}
        for file, names in OF_AN_EXTRA.items()
    }
    provided = packages_distributions()
    lacking = {
        (path.name, name)
        for path in sorted((ROOT / "rqa").rglob("*.py"))
        if path.relative_to(ROOT).as_posix() not in TESTED_BY
        for name in imported(path)
        if not (declared | more.get(path.name, set())) & {plain(d) for d in provided.get(name, [name])}
    }
    assert not lacking


def test_imports_anywhere_in_a_module_are_seen(tmp_path: Path) -> None:
    code = "import os, a.b\nfrom . import c\ndef f():\n    from d.e import g\n    import rqa.words\n"
    (tmp_path / "m.py").write_text(code, encoding="utf-8")
    assert imported(tmp_path / "m.py") == {"a", "d"}


def test_the_newest_entry_of_the_changelog_is_this_version() -> None:
    versions = re.findall(r"^## (\S+)$", CHANGELOG, re.MULTILINE)
    assert versions[0] == PROJECT["version"]
    assert versions == sorted(versions, key=lambda v: tuple(map(int, v.split("."))), reverse=True)
    newest = CHANGELOG.split("\n## ")[1]
    assert newest.count("\n- ") >= 1
