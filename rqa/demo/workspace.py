"""Writing a workspace of the invented depot."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from rqa.demo.chunk import Chunk, draw, sizes
from rqa.demo.clock import day_number, last_day
from rqa.demo.course import Course
from rqa.demo.plain import plain_sources, write_plain
from rqa.progress import Progress, silent
from rqa.stopping import held, released

TITLE = "Alder, Birch and Cedar depot (invented)"
SEED = 1
UNFINISHED = "demo.new-"
"""How the folder begins in which a demo is made; a killed one leaves it, and the next removes it."""


def write(
    folder: str | Path,
    *,
    jobs: int = 3000,
    months: int = 18,
    seed: int = SEED,
    plain: bool = False,
    progress: Progress = silent,
) -> None:
    """Write a workspace of the invented depot: logs, reference tables, `sources.toml`, `truth.json`.

    Parameters:
        folder: where to; made if it is not there.
        jobs: how many repair jobs; memory does not grow with it.
        months: how many months from 2025-01-01 they spread over; the data ends with the last of them.
        seed: the same arguments give the same files.
        plain: one clean CSV for each table of the contract instead of the three sites' exports.
        progress: is told each `rqa.progress.Stage` as it begins.

    The files are put into the folder when all are written: stopped before, it is left as it was.
    """
    folder = Path(folder)
    with held():
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(f"{UNFINISHED}*"):
            shutil.rmtree(left)
        with tempfile.TemporaryDirectory(prefix=UNFINISHED, dir=folder) as made:
            with released():
                _write(Path(made), jobs=jobs, months=months, seed=seed, plain=plain, progress=progress)
            for path in sorted(Path(made).iterdir()):
                _put(path, folder / path.name)


def _put(made: Path, place: Path) -> None:
    """Move a file, or a folder's files, to its place."""
    if made.is_dir():
        place.mkdir(exist_ok=True)
        for path in made.iterdir():
            _put(path, place / path.name)
    else:
        made.replace(place)


def _write(folder: Path, *, jobs: int, months: int, seed: int, plain: bool, progress: Progress) -> None:
    days = day_number(last_day(months)) + 1
    course = Course(progress, jobs)
    chunks = _drawn(seed, jobs, days, course)
    if plain:
        write_plain(folder, chunks)
        (folder / "sources.toml").write_text(plain_sources(TITLE), encoding="utf-8", newline="\n")
        return
    from rqa.demo.exports import write_exports

    write_exports(folder, chunks, jobs=jobs, months=months, seed=seed, title=TITLE, course=course)


def _drawn(seed: int, jobs: int, days: int, course: Course) -> Iterator[Chunk]:
    """The chunks, one drawn after the other has been written."""
    for number, size in enumerate(sizes(jobs)):
        course.drawing(size)
        yield draw(seed, number, size, days)
