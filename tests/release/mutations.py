"""Changes single places of the arithmetic, one at a time, and runs the tests of that module: do they notice?

`python tests/release/mutations.py --places 200 --seed 1` draws that many places of `rqa/stats` and `rqa/spc` (or of
`--module rqa/stats/hazard.py` alone) and prints a table: each place, what it was turned into, and the test that failed,
or SURVIVED. It ends with 1 where fewer than 95 % of the changes that matter were noticed. What survived is looked at:
either a test is missing, or the change says the same in another way (then it goes into `SAME`).

A changed module runs in a process forked from one that has NumPy, SciPy and pytest loaded. Texts of errors, annotations
and tuning constants (names in capitals) are left as they are. The tests are the files that name what the module
defines, or what is built on it; the sweep of hostile calls is left out.
"""

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import os
import random
import re
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("rqa/stats", "rqa/spc")
ENOUGH = 0.95
BROKEN = "THE TESTS DID NOT RUN:"
SECONDS = 240
"""After so long the tests of a changed module are taken to have failed: the change made a loop endless."""
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.And: ast.Or,
    ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "ceil": "floor", "floor": "ceil"}
SAME: set[tuple[str, str, str]] = {
    ("rqa/stats/capability_index.py", "12.0", "12.96"),
    ("rqa/stats/common_ratio.py", "1.0", "1.08"),
    (
        "rqa/spc/run_lengths/ewma.py", "np.ceil(2.0 * NODES_A_SPREAD * widest / spread)",
        "np.floor(2.0 * NODES_A_SPREAD * widest / spread)",
    ),
}
"""Module, expression and what it became, where both say the same; such places count neither way."""


def places(tree: ast.Module) -> Iterator[ast.AST]:
    """The nodes that can be changed, in order, outside of texts, errors, annotations and tuning constants."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield from _within(node)


def _within(node: ast.AST) -> Iterator[ast.AST]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Raise | ast.JoinedStr | ast.Import):
                continue
            if changed(child) is not None:
                yield child
            yield from _within(child)


def changed(node: ast.AST) -> ast.AST | None:
    """The node with one thing about it turned round; None where there is nothing to turn."""
    made = copy.deepcopy(node)
    if isinstance(made, ast.Compare) and type(made.ops[0]) in SWAPS:
        made.ops[0] = SWAPS[type(made.ops[0])]()  # type: ignore[assignment]
        return made
    if isinstance(made, ast.BinOp | ast.BoolOp) and type(made.op) in SWAPS:
        made.op = SWAPS[type(made.op)]()  # type: ignore[assignment]
        return made
    if isinstance(made, ast.UnaryOp) and isinstance(made.op, ast.USub | ast.Not | ast.Invert):
        return made.operand
    if isinstance(made, ast.Constant) and type(made.value) in (int, float):
        made.value = made.value + 1 if isinstance(made.value, int) else made.value * 1.08 or 1.0
        return made
    if isinstance(made, ast.Call):
        called = made.func
        if isinstance(called, ast.Attribute) and called.attr in NAMES:
            called.attr = NAMES[called.attr]
            return made
        if isinstance(called, ast.Name) and called.id in NAMES:
            called.id = NAMES[called.id]
            return made
    return None


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module from a tree in place of its file."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path, self.tree = name, path, tree

    def find_spec(self, name: str, _path: object = None, _target: object = None) -> object:
        """Only the changed module is found here."""
        return importlib.util.spec_from_loader(name, self, origin=str(self.path)) if name == self.name else None

    def exec_module(self, module: ModuleType) -> None:
        """Run the tree, compiled, as the module."""
        module.__file__ = str(self.path)
        exec(compile(self.tree, str(self.path), "exec"), module.__dict__)


def public_names(path: Path) -> set[str]:
    """What a module defines that others may use."""
    body = ast.parse(path.read_text("utf-8")).body
    return {n.name for n in body if isinstance(n, ast.FunctionDef | ast.ClassDef) and not n.name.startswith("_")}


def tests_of(module: Path) -> list[Path]:
    """The test files that name what the module defines, else what the modules built on it define, and so on."""
    tests = {p: p.read_text("utf-8") for room in ("stats", "spc") for p in (ROOT / "tests" / room).glob("test_*.py")}
    tests = {p: text for p, text in tests.items() if p.name not in ("test_hostile_calls.py", "test_arguments.py")}
    sources = {p: p.read_text("utf-8") for room in ROOMS for p in (ROOT / room).rglob("*.py") if p.name[0] != "_"}
    reached, new = {module}, {module}
    while new:
        names = {name for p in new for name in public_names(p)} | {p.stem for p in new}
        found = [p for p, text in tests.items() if names & set(re.findall(r"\w+", text))]
        if found:
            return sorted(found)
        built = {
            p for p, text in sources.items()
            if any(re.search(rf"from rqa\.[\w.]*\b{q.stem}\b import", text) for q in new)
        }
        new = built - reached
        reached |= new
    return sorted(tests)


def run(name: str, path: Path, tree: ast.Module, tests: list[Path]) -> str:
    """What failed first with the module so changed, or nothing."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            told = _tested(name, path, tree, tests)
        except BaseException as broken:
            told = f"{BROKEN} {type(broken).__name__}"
        os.write(writing, told.encode())
        os._exit(0)
    os.close(writing)
    until = time.monotonic() + SECONDS
    while os.waitpid(child, os.WNOHANG)[0] == 0:
        if time.monotonic() > until:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return "(no end)"
        time.sleep(0.02)
    with os.fdopen(reading, encoding="utf-8") as answer:
        return answer.read()


def _tested(name: str, path: Path, tree: ast.Module, tests: list[Path]) -> str:
    import pytest

    class Listener:
        """Keeps the name of the first test that fails."""

        failed = ""

        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            """A failure in set-up counts too."""
            if report.failed and not self.failed:
                self.failed = report.nodeid.split("::", 1)[-1]

    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    sys.meta_path.insert(0, Changed(name, path, tree))
    listener = Listener()
    options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", "-o", "addopts=--import-mode=importlib"]
    code = int(pytest.main([*options, "-m", "not long and not slow", *map(str, tests)], plugins=[listener]))
    if code in (pytest.ExitCode.INTERNAL_ERROR, pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
        return f"{BROKEN} pytest ended with {code}"
    return listener.failed or ("" if code == pytest.ExitCode.OK else "(not imported)")


def main() -> int:
    """Draw, change, run, and tell."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--places", type=int, default=200, help="how many places to change (default 200)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the draw")
    parser.add_argument("--module", action="append", default=[], help="a file such as rqa/stats/hazard.py; repeatable")
    asked = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Not hypothesis: pytest wants to load it, and warns where it has been.
    for heavy in ("numpy", "scipy.stats", "scipy.optimize", "pytest"):
        importlib.import_module(heavy)
    files = [ROOT / m for m in asked.module] or sorted(
        p for room in ROOMS for p in (ROOT / room).rglob("*.py") if p.name != "__init__.py"
    )
    every = [(p, i) for p in files for i, _ in enumerate(places(ast.parse(p.read_text("utf-8"))))]
    drawn = sorted(random.Random(asked.seed).sample(every, min(asked.places, len(every))))
    survived, noticed = [], 0
    for path, index in drawn:
        tree = ast.parse(path.read_text("utf-8"))
        node = list(places(tree))[index]
        instead = changed(node)
        assert instead is not None
        place = path.relative_to(ROOT)
        was, became = ast.unparse(node), ast.unparse(instead)
        if (str(place), was, became) in SAME:
            continue
        node.__class__ = instead.__class__  # type: ignore[assignment]
        for name, value in vars(instead).items():
            setattr(node, name, value)
        module = str(place.with_suffix("")).replace("/", ".")
        failed = run(module, path, ast.fix_missing_locations(tree), tests_of(path))
        if failed.startswith(BROKEN):
            sys.exit(f"{place}:{node.lineno}: {failed}")  # type: ignore[attr-defined]
        noticed += bool(failed)
        line = f"{place}:{node.lineno} | {was} | {became} | {failed or 'SURVIVED'}"  # type: ignore[attr-defined]
        survived += [] if failed else [line]
        sys.stdout.write(" ".join(line.split()) + "\n")
        sys.stdout.flush()
    tried = noticed + len(survived)
    sys.stdout.write(f"\nnoticed {noticed} of {tried} ({noticed / max(tried, 1):.0%}); survived:\n")
    sys.stdout.writelines(line + "\n" for line in survived)
    return 0 if noticed >= ENOUGH * tried else 1


if __name__ == "__main__":
    sys.exit(main())
