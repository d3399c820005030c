"""Which files a path of the mapping means: those of the workspace, and of the folders it names as outside, alone."""

import fnmatch
import os
import re
from collections.abc import Collection, Sequence
from pathlib import Path

NAMED = 10
"""Names that are told of what a folder holds."""
WILD = re.compile(r"[*?\[]")


def paths_of(
    pattern: str,
    workspace: Path,
    outside: Sequence[str] = (),
    loaded: Collection[str] = (),
    *,
    optional: bool = False,
) -> tuple[list[Path], list[str]]:
    """The files that `pattern` means, by name with numbers in their order; and what is wrong with it or with them.

    `outside` are folders beyond the workspace that may be read, relative to it or not. A name is a name first: a file
    that is called `jobs[1].csv` is meant by it, and no other. A file that was `loaded` before and is gone is no fault;
    a wildcard that meets nothing is one, unless its files are `optional`.
    """
    plain = workspace / pattern
    if os.path.lexists(plain):
        met = [plain]
    else:
        try:
            met = sorted((p for p in workspace.glob(pattern) if not p.is_dir()), key=_natural)
        except (ValueError, NotImplementedError) as error:
            return [], [f"{pattern!r} is no path: {error}"]
    if not os.path.lexists(plain) and WILD.search(pattern) and (denied := _unreadable(pattern, workspace)):
        return [], denied
    if not met and (label(plain, workspace) in loaded or fnmatch.filter(loaded, pattern)):
        return [], []
    if not met and WILD.search(pattern):
        return [], [] if optional else [_nothing_met(pattern, workspace)]
    if not met:
        there = ", ".join(sorted(p.name for p in plain.parent.glob("*"))[:NAMED]) or "nothing"
        return [], [f"there is no file {pattern!r}; that folder holds: {there}"]
    allowed = [workspace.resolve(), *((workspace / folder).resolve() for folder in outside)]
    faults = {path: fault for path in met if (fault := _fault(path, workspace, allowed))}
    return [path for path in met if path not in faults], list(faults.values())


def _unreadable(pattern: str, workspace: Path) -> list[str]:
    """The folders that a wildcard looks into and that cannot be read; a look for files passes over them in silence."""
    folder, deeper = _fixed(pattern, workspace)
    errors: list[OSError] = []
    for _ in os.walk(folder, onerror=errors.append):
        if not deeper:
            break
    denied = [e for e in errors if not isinstance(e, FileNotFoundError | NotADirectoryError)]
    return [
        f"{pattern!r}: the folder {label(Path(e.filename), workspace)!r} cannot be read: {e.strerror}" for e in denied
    ]


def _nothing_met(pattern: str, workspace: Path) -> str:
    """What is said of a wildcard that meets no file."""
    folder, _ = _fixed(pattern, workspace)
    if not folder.is_dir():
        said = f"there is no folder {label(folder, workspace)!r}"
    else:
        there = ", ".join(sorted(p.name for p in folder.iterdir())[:NAMED]) or "nothing"
        said = f"that folder holds: {there}"
    return f"no file fits {pattern!r}; {said}. Set optional = true for these files if there may be none yet"


def _fixed(pattern: str, workspace: Path) -> tuple[Path, bool]:
    """The folder that a pattern begins in, and whether it looks into folders of it too."""
    parts = Path(pattern).parts
    fixed = next(n for n, part in enumerate(parts) if WILD.search(part))
    return workspace.joinpath(*parts[:fixed]), parts[fixed] == "**" or fixed < len(parts) - 1


def label(path: Path, workspace: Path) -> str:
    """What a file is called in reports: its path as seen from the workspace."""
    return Path(os.path.relpath(path, workspace)).as_posix()


def _fault(path: Path, workspace: Path, allowed: Sequence[Path]) -> str | None:
    name, real = repr(label(path, workspace)), path.resolve()
    if not any(real.is_relative_to(folder) for folder in allowed):
        leads = "" if ".." in Path(label(path, workspace)).parts else f", as a link leads to {str(real)!r}"
        return f"{name} lies outside of the workspace{leads}; name its folder in [workspace] outside to allow it"
    if path.is_dir():
        return f"{name} is a folder; name its files, such as {label(path, workspace) + '/*.csv'!r}"
    if not path.exists():
        return f"{name} is a link to a file that does not exist"
    if not path.is_file():
        return f"{name} is no plain file (a pipe, a socket or a device)"
    return None


def _natural(path: Path) -> list[object]:
    return [int(p) if p.isdecimal() else p for p in re.split(r"(\d+)", path.as_posix())]
