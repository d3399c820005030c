"""SQL stands in files of its own: in Python only where it is put together from a contract or a mapping."""

import ast
import re
from pathlib import Path

import pytest

import rqa

ROOT = Path(rqa.__file__).parent
PUT_TOGETHER = ("store/", "lake/", "demo/foreign.py")
"""Where statements are made for the tables and columns at hand, and where a foreign database is written."""
STATEMENT = re.compile(
    r"\s*(select\b.*\bfrom\b|select\s*\(|with\s+\w+\s+as\s*\(|insert\s+into\b|delete\s+from\b|update\s+\w+\s+set\b"
    r"|(create|drop|alter)\s+(or\s+replace\s+)?(temp\s+)?(table|view|macro)\b|copy\s+\S+\s+to\b|attach\s+'"
    r"|(pragma|describe)\s+\w)",
    re.S | re.I,
)


def statements(code: str) -> list[str]:
    """The texts of a module that are statements; what documents it is none."""
    tree = ast.parse(code)
    remarks = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    parts = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    texts = []
    for node in ast.walk(tree):
        if id(node) in remarks | parts:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            texts.append(node.value)
        elif isinstance(node, ast.JoinedStr):
            texts.append("".join(str(p.value) if isinstance(p, ast.Constant) else "x" for p in node.values))
    return [text for text in texts if STATEMENT.match(text)]


@pytest.mark.parametrize("code", [
    "asked = 'select site\\nfrom jobs'", "asked = f'SELECT {name} from jobs'", "run('''\\nwith a as (select 1)''')",
    "run('drop table jobs')", "run(f'delete from {table}')", "def f():\n    return 'create or replace temp table x as'",
])
def test_a_statement_is_seen(code: str) -> None:
    assert len(statements(code)) == 1


def test_other_texts_are_none() -> None:
    code = "def f():\n    'select a from b'\n    say('with the names of people', 'select', 'drop it', ' from jobs')"
    assert statements(code) == []


def test_no_sql_stands_in_python() -> None:
    found = {}
    for file in sorted(ROOT.rglob("*.py")):
        place = file.relative_to(ROOT).as_posix()
        texts = [] if place.startswith(PUT_TOGETHER) else statements(file.read_text(encoding="utf-8"))
        if texts:
            found[place] = texts
    assert found == {}, "put it into a file of measures/sql, or into the store"
