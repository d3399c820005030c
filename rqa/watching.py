"""`rqa inspect --watch`: the same again whenever the mapping is saved, with what was changed in it."""

import signal
import threading
import tomllib
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from rqa.errors import RqaError
from rqa.intake.mapping import MAPPING_FILE
from rqa.shown import one_line
from rqa.stopping import AGAIN_SECONDS, check, stoppable
from rqa.words import counted

POLL_SECONDS = 0.3
MOST = 6
"""Changes that are named."""
State = tuple[int, int] | None


def watched(workspace: Path, once: Callable[[], object], say: Callable[[str], None]) -> None:
    """Call `once` now and after each save of the mapping, until a signal; `say` is told when, and what was changed.

    A fault of the mapping, or of a file, is told, and watching goes on. It ends at Ctrl-C without an error; a signal
    that ends a program ends this one, too.
    """
    path = workspace / MAPPING_FILE
    with stoppable() as stopping:
        try:
            while True:
                # Looked at before it is read, so that a save in between is not missed.
                before, text = _state(path), _text(path)
                try:
                    once()
                except RqaError as error:
                    if stopping.signal is not None:
                        raise
                    say(f"rqa: {error}")
                say(f"\n{_now()}  waiting for {path} to be saved; Ctrl-C ends.")
                _saved(path, before)
                say(f"\n{_now()}  {path.name} was saved: {changes(text, _text(path))}\n")
        except BaseException:
            # What a signal stops may say so in words of its own.
            if stopping.signal != signal.SIGINT:
                raise
            say(f"\n{_now()}  ended; nothing was written.")


def _saved(path: Path, before: State) -> None:
    """Wait until a file is another one than before, and does not change any more: an editor may write it in parts."""
    seen = before
    while True:
        _wait()
        now = _state(path)
        if now != before and now == seen:
            return
        seen = now


def changes(before: str, after: str) -> str:
    """What of a mapping was changed, by the names of its settings."""
    try:
        old, new = dict(_settings(tomllib.loads(before))), dict(_settings(tomllib.loads(after)))
    except tomllib.TOMLDecodeError:
        return "it is, or was, no valid TOML"
    found = [f"{name} added" for name in new if name not in old]
    found += [f"{name} taken out" for name in old if name not in new]
    found += [f"{name} changed" for name in new if name in old and new[name] != old[name]]
    if not found:
        return "no setting was changed"
    more = f" and {counted(len(found) - MOST, 'more change')}" if len(found) > MOST else ""
    return one_line(", ".join(found[:MOST])) + more


def _settings(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """The settings of a mapping by their names: what holds no further setting."""
    if isinstance(value, dict):
        for key, inside in value.items():
            yield from _settings(inside, f"{name}.{key}".lstrip("."))
    elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for number, inside in enumerate(value, 1):
            yield from _settings(inside, f"{name}.{number}")
    else:
        yield name, value


def _wait() -> None:
    waiting = threading.Event()
    for _ in range(max(1, round(POLL_SECONDS / AGAIN_SECONDS))):
        check()
        waiting.wait(AGAIN_SECONDS)


def _state(path: Path) -> State:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        return ""


def _now() -> str:
    return datetime.now().astimezone().strftime("%H:%M:%S")
