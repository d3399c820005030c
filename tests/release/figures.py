"""Every answer of a store as a line each, to be compared before and after a change that must alter no figure.

    python -m tests.release.figures WORKSPACE > before.txt

A line is the question, what was asked, the table's shape, and a digest each of its names, its values and its notes.
"""

import argparse
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any

import polars as pl

import rqa
from rqa.errors import RqaError
from tests.odd_depots.questions import asked_of, every_question


def digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:12]


def values(table: pl.DataFrame) -> str:
    """The values of a table as text, lists among them."""
    return "\n".join(repr(row) for row in table.iter_rows())


def told(answer: Any) -> str:
    """An answer as the rest of its line."""
    table = getattr(answer, "table", None)
    if table is None:
        return digest(repr(answer))
    more = [kept for name, kept in sorted(vars(answer).items()) if name != "table" and isinstance(kept, pl.DataFrame)]
    parts = (repr([t.columns for t in (table, *more)]), "\n\n".join(map(values, (table, *more))), repr(answer.notes))
    return f"{table.height} x {table.width}  {'  '.join(map(digest, parts))}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workspace", type=Path)
    with rqa.open(parser.parse_args().workspace) as depot:
        for question, asked in every_question(depot):
            try:
                line = told(asked_of(depot, question)(**asked))
            except RqaError as error:
                line = digest(str(error))
            sys.stdout.write(f"{question} {dict(sorted(asked.items()))}  {line}\n")


if __name__ == "__main__":
    main()
