"""The formats that are read, by the endings of names."""

from pathlib import Path
from typing import Literal

Format = Literal["csv", "excel", "jsonl", "json", "xes", "parquet", "sqlite", "frame"]
ENDINGS: dict[str, Format] = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "excel", ".xls": "excel", ".xlsb": "excel", ".ods": "excel",
    ".jsonl": "jsonl", ".ndjson": "jsonl", ".parquet": "parquet", ".sqlite": "sqlite", ".sqlite3": "sqlite",
    ".db": "sqlite", ".json": "json", ".xes": "xes",
}
READ_APART: tuple[Format | None, ...] = ("parquet", "sqlite", None)
"""Formats whose reader is not ours, and may end its process at a damaged file; None: what the ending does not tell."""
ZIP = ".zip"


def format_of(path: str | Path) -> Format | None:
    """The format that the ending of a path, or of a pattern of paths, tells."""
    path = Path(path)
    ending = path.with_suffix("").suffix if path.suffix in (".gz", ZIP) else path.suffix
    return ENDINGS.get(ending.lower())
