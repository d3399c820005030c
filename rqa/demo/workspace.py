"""Writing a workspace of the invented depot."""

from pathlib import Path

from rqa.demo.chunk import draw, sizes
from rqa.demo.clock import day_number, last_day
from rqa.demo.plain import plain_sources, write_plain

TITLE = "Alder, Birch and Cedar depot (invented)"
SEED = 1


def write(folder: str | Path, *, jobs: int = 3000, months: int = 18, seed: int = SEED, plain: bool = False) -> None:
    """Write a workspace of the invented depot: logs, reference tables, `sources.toml`, `truth.json`.

    Parameters:
        folder: where to; made if it is not there.
        jobs: how many repair jobs; memory does not grow with it.
        months: how many months from 2025-01-01 they spread over; the data ends with the last of them.
        seed: the same arguments give the same files.
        plain: one clean CSV for each table of the contract instead of the three sites' exports.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    days = day_number(last_day(months)) + 1
    chunks = (draw(seed, number, size, days) for number, size in enumerate(sizes(jobs)))
    if plain:
        write_plain(folder, chunks)
        (folder / "sources.toml").write_text(plain_sources(TITLE), encoding="utf-8", newline="\n")
        return
    from rqa.demo.exports import write_exports

    write_exports(folder, chunks, jobs=jobs, months=months, seed=seed, title=TITLE)
