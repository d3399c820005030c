"""Data to do: one workbook a site with the rows, jobs and columns that it is asked to mend, to send back."""

from pathlib import Path
from typing import TYPE_CHECKING

from rqa.answers.core.workbook import Sheet, write_sheets
from rqa.errors import RequestError
from rqa.words import there_is

if TYPE_CHECKING:
    from rqa.depot import Depot

NOBODY = "site not told"
"""The name of what belongs to no one site."""
ABOUT = (
    ("rows", "Rows of your files that were refused, or accepted with a remark. Mend them in your system and export "
             "anew; a mended row takes the place of the old one by its key."),
    ("jobs", "Jobs that lack something: a log, a closing, what was found at fault."),
    ("columns", "Columns that are seldom given, and what cannot be told without them."),
)


def write_to_do(depot: "Depot", folder: Path, site: str | None = None) -> dict[str, Path]:
    """Write a workbook for each site that has something to mend, or for one; give their paths by site.

    Raises `RequestError` for a site that has nothing to mend or is not there, and a folder that cannot be written to.
    """
    made = depot.data.to_mend()
    parts = {"rows": made.table, "jobs": made.gaps, "columns": made.columns}
    frames = {name: frame for name, frame in parts.items() if frame is not None}
    sites = sorted({one for frame in frames.values() for one in frame["site"].unique().to_list()})
    if site is not None and site not in sites:
        raise RequestError(f"to_do: {site!r} has nothing to mend. {there_is(site, sites)}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(f"to_do: {folder} cannot be made: {error.strerror or error}.") from error
    paths: dict[str, Path] = {}
    for one in sites if site is None else [site]:
        sheets: list[Sheet] = [("about", ("sheet", "what it holds"), ABOUT)]
        for name, frame in frames.items():
            own = frame.filter(frame["site"] == one).drop("site")
            sheets.append((name, own.columns, own.iter_rows()))
        paths[one or NOBODY] = write_sheets(sheets, folder / f"to-do {_plain(one or NOBODY, paths)}.xlsx")
    return paths


def _plain(name: str, taken: "dict[str, Path]") -> str:
    """A site's name as part of a file's."""
    plain = "".join(c if c.isalnum() or c in " -_" else "_" for c in name).strip()[:80] or "site"
    return f"{plain} {len(taken) + 1}" if any(path.stem == f"to-do {plain}" for path in taken.values()) else plain
