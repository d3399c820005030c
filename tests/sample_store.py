"""The store of the sample's own files, which notebooks and the examples of docstrings ask."""

from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_data"
STORE = SAMPLE / "depot.duckdb"


WAIT_SECONDS = 120


@cache
def fresh_store() -> None:
    """Make sure, once a session, that the store is not older than the sample's files or the code that loads them.

    It is built from nothing: a second load would show in the books that the notebooks print. Tests run side by side;
    whoever comes second finds it fresh.
    """
    from rqa.store.lock import writing

    with writing(STORE.with_name(f"{STORE.name}.fresh"), wait=WAIT_SECONDS):
        _build()


def _build() -> None:
    import rqa

    sources = [p for p in SAMPLE.rglob("*") if p.is_file() and not p.name.startswith(STORE.name)]
    code = [p for p in (ROOT / "rqa").rglob("*") if p.suffix in (".py", ".sql")]
    if not STORE.exists() or max(map(_age, [*sources, *code])) > _age(STORE):
        STORE.unlink(missing_ok=True)
        rqa.load(SAMPLE)


def _age(path: Path) -> int:
    return path.stat().st_mtime_ns
