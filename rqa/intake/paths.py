"""Which files a path of the mapping means: those of the workspace, and of the folders it names as outside, alone."""

import errno
import fnmatch
import os
import re
from collections.abc import Collection, Sequence
from contextlib import suppress
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

    `outside` are folders beyond the workspace that may be read, relative to it or not. A pattern means every file that
    it meets. A file of the very name is meant where the pattern meets no other; where it meets others and not this one,
    as with `jobs[1].csv` beside `jobs1.csv`, that is a fault. A file that was `loaded` before and is gone is no fault;
    a wildcard that meets nothing is one, unless its files are `optional`.
    """
    plain, wild = workspace / pattern, WILD.search(pattern) is not None
    allowed = [workspace.resolve(), *((workspace / folder).resolve() for folder in outside)]
    named = not wild or os.path.lexists(plain)
    begins = plain if named else _fixed(pattern, workspace)[0]
    if not named and ".." in Path(pattern).parts[len(begins.relative_to(workspace).parts) :]:
        return [], [f"{pattern!r}: '..' cannot stand behind a wildcard; name the folder"]
    leaves = not _within(begins, allowed)
    if leaves and (named or not any(_within(folder, [begins.resolve()]) for folder in allowed)):
        return [], [_outside(begins, pattern, workspace)]
    met = [plain] if os.path.lexists(plain) else []
    if wild or not met:
        try:
            found = sorted((p for p in workspace.glob(pattern) if not p.is_dir()), key=_natural)
        except (ValueError, NotImplementedError) as error:
            return [], [f"{pattern!r} is no path: {error}"]
        if leaves:
            # Of what lies beyond the workspace nothing is told but what is allowed.
            found = [p for p in found if _within(p, allowed)]
            if not found:
                return [], [_outside(begins, pattern, workspace)]
        if wild and not leaves and (denied := _unreadable(pattern, workspace)):
            return [], denied
        if met and found and plain not in found and not plain.is_dir():
            return [], [_ambiguous(pattern, plain, found, workspace)]
        met = found or met
    if not met and (label(plain, workspace) in loaded or fnmatch.filter(loaded, pattern)):
        return [], []
    if not met and WILD.search(pattern):
        return [], [] if optional else [_nothing_met(pattern, workspace)]
    if not met:
        there = ", ".join(sorted(p.name for p in plain.parent.glob("*"))[:NAMED]) or "nothing"
        return [], [f"there is no file {pattern!r}; that folder holds: {there}"]
    if unnamed := [_unnamed(p, workspace) for p in met if not _is_text(p)]:
        return [], unnamed
    faults = {path: fault for path in met if (fault := _fault(path, workspace, allowed))}
    return [path for path in met if path not in faults], list(faults.values())


def _within(path: Path, folders: Sequence[Path]) -> bool:
    """Whether a path, its links followed, lies in one of these folders."""
    try:
        real = path.resolve()
    except RuntimeError:
        # A link in a circle leads nowhere; it is told of later.
        return True
    return any(real.is_relative_to(folder) for folder in folders)


def _outside(path: Path, pattern: str, workspace: Path) -> str:
    """What is said of a path that may not be read; the same whether or not anything is there."""
    leads = "" if ".." in Path(label(path, workspace)).parts else f", as a link leads to {str(path.resolve())!r}"
    return f"{pattern!r} lies outside of the workspace{leads}; name its folder in [workspace] outside to allow it"


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


def _ambiguous(pattern: str, plain: Path, found: Sequence[Path], workspace: Path) -> str:
    """What is said of a name that is also a pattern for other files."""
    escaped = WILD.sub(lambda sign: f"[{sign[0]}]", pattern)
    return (
        f"{pattern!r} is the name of a file, and as a pattern it means other files, such as "
        f"{label(found[0], workspace)!r}. Write {escaped!r} for the file {plain.name!r}; for both, give a list with "
        "the others beside it"
    )


def _is_text(path: Path) -> bool:
    try:
        path.as_posix().encode()
    except UnicodeEncodeError:
        return False
    return True


def _unnamed(path: Path, workspace: Path) -> str:
    """What is said of a file whose name no report could hold."""
    name = os.fsencode(label(path, workspace)).decode(errors="backslashreplace")
    return f"the name of the file '{name}' is no UTF-8 text, so that no report can give it; rename the file"


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
    name = repr(label(path, workspace))
    try:
        with suppress(FileNotFoundError):
            path.stat()
    except (OSError, RuntimeError) as error:
        why = error.strerror if isinstance(error, OSError) and error.errno != errno.ELOOP else None
        return f"{name} cannot be reached: {why}" if why else f"{name} is a link that leads in a circle"
    if not _within(path, allowed):
        return _outside(path, label(path, workspace), workspace)
    if path.is_dir():
        return f"{name} is a folder; name its files, such as {label(path, workspace) + '/*.csv'!r}"
    if not path.exists():
        return f"{name} is a link to a file that does not exist"
    if not path.is_file():
        return f"{name} is no plain file (a pipe, a socket or a device)"
    return None


def _natural(path: Path) -> list[object]:
    return [int(p) if p.isdecimal() else p for p in re.split(r"(\d+)", path.as_posix())]
