"""The README says what is true: its dictionary is the contract's, its commands are those of CI."""

import ast
import inspect
import re
from collections.abc import Iterable
from pathlib import Path

import rqa.spc
import rqa.stats
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


def test_files_that_the_pages_name_are_there() -> None:
    there = [file.as_posix() for room in ("rqa", "tests", "notebooks", ".ci") for file in (ROOT / room).rglob("*.py")]
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "shared").glob("*.md")):
        named = re.findall(r"`((?:[a-z_]+/)*[a-z_]+\.py)`", page.read_text(encoding="utf-8"))
        assert [name for name in named if not any(file.endswith(f"/{name}") for file in there)] == [], page.name


def names_in(nodes: Iterable[ast.AST]) -> set[str]:
    """The names that code uses, charts by their short names, too (`"p"` for `p_chart`)."""
    inside = [node for top in nodes for node in ast.walk(top)]
    words = {n.value for n in inside if isinstance(n, ast.Constant) and isinstance(n.value, str)}
    named = {n.id for n in inside if isinstance(n, ast.Name)} | {n.attr for n in inside if isinstance(n, ast.Attribute)}
    named |= {n.name for n in inside if isinstance(n, ast.alias)}
    return named | words | {f"{word}_chart" for word in words}


def test_functions_that_no_answer_calls_are_listed_for_own_work() -> None:
    rooms, examples = (ROOT / "rqa" / "stats", ROOT / "rqa" / "spc"), ROOT / "rqa" / "published_examples"
    trees = {file: ast.parse(file.read_text(encoding="utf-8")) for file in (ROOT / "rqa").rglob("*.py")}
    inner = {
        node.name: names_in([node])
        for file, tree in trees.items() if file.parent in rooms
        for node in tree.body if isinstance(node, (ast.FunctionDef, ast.ClassDef))
    }
    used = names_in(tree for file, tree in trees.items() if file.parent not in (*rooms, examples))
    reached: set[str] = set()
    while reached != used & set(inner):
        reached = used & set(inner)
        used = used.union(*(inner[name] for name in reached))
    libraries = (rqa.stats, rqa.spc)
    public = {name for kit in libraries for name in kit.__all__ if inspect.isfunction(getattr(kit, name))}
    page = (ROOT / "shared" / "methods.md").read_text(encoding="utf-8")
    table = page.partition("## For work of one's own")[2].partition("## Sources")[0]
    listed = {name.rpartition(".")[2] for name in re.findall(r"`([\w.]+)`", table)} & public
    assert sorted(listed) == sorted(public - reached)
