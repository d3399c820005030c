"""A load in a process of its own (`load_worker`), for what may hold up or end the process that reads it.

Within one call of a function the engine hears of no interruption, and native code that reads a damaged file may end its
process. So a worker loads where the mapping brings SQL, or may read Parquet or SQLite. It does the whole load, and says
by its output what it does. Here its stages are told, and it is made sure that it ends: when its SQL runs on after its
limit, and whenever the load is stopped. Reading Parquet or SQLite has no limit of time. It is sent a pickle, and
answers in JSON, a line each: whoever has read a foreign file is not trusted with more.
"""

import builtins
import json
import os
import pickle
import queue
import signal
import subprocess
import tempfile
import threading
import time
import traceback
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from math import inf
from pathlib import Path
from typing import IO, Any

from rqa.errors import MappingError, RequestError, RqaError, SourceError, StoreError
from rqa.intake.draft import Draft
from rqa.own_process import started
from rqa.progress import Progress, Stage, silent
from rqa.shown import told
from rqa.stopping import AGAIN_SECONDS, check, held, released
from rqa.store.doing import Doing
from rqa.store.engine import STORE_FILE, identity
from rqa.store.report import FileCount, LoadReport, Refusal, Remark
from rqa.store.seen import seen_of
from rqa.words import listed

GRACE_SECONDS = 10.0
"""How much longer than its limit SQL may run, until the process that runs it is ended."""
STOP_SECONDS = 5.0
"""How long a worker may take to end by itself, when it is asked to or has answered."""
LAST_BYTES = 4_000
"""As far from the end of what a worker printed its last line is looked for."""
NAMED = 3
"""Files of a SELECT that are named where its reading has failed."""
KINDS: dict[str, type[Exception]] = {
    kind.__name__: kind for kind in (RqaError, MappingError, SourceError, StoreError, RequestError)
}
STOPS = ("SIGTERM", "SIGINT", "SIGHUP")
AS_IT_WAS = "Nothing was loaded; the store is as it was."


class WorkerError(Exception):
    """Where an error arose in the worker, as Python tells it: the cause of the error that is raised here."""

    def __str__(self) -> str:
        return f"\n{self.args[0]}"


def load_apart(
    folder: Path,
    *,
    made: Draft,
    frames: Mapping[str, Any] | None,
    write: bool,
    wait: float,
    memory: str | None,
    progress: Progress,
    rows: int = 0,
) -> LoadReport:
    """Load a workspace in a process of its own; raises what the load raises there, and what becomes of the process."""
    began, store = time.monotonic(), folder / STORE_FILE
    asked = {
        "folder": folder, "made": made, "frames": _portable(frames), "write": write, "wait": wait, "memory": memory,
        "listened": progress is not silent, "rows": rows,
    }
    before = identity(store)
    with held(), tempfile.TemporaryDirectory(prefix="rqa-", ignore_cleanup_errors=True) as temporary:
        worker = _Worker(Path(temporary), quiet=made.mapping.keyed or bool(made.faults))
        try:
            with released():
                worker.ask(asked)
                said = worker.answer(progress)
        finally:
            worker.end()
            if worker.code and write:
                from rqa.store.load import clear

                clear(store)
    if said is None or "stopped" in said:
        raise worker.died(replaced=identity(store) != before)
    if "error" in said:
        raise _error(said["error"]) from WorkerError(said["trace"]) if said["trace"] else None
    return _report(said["report"], store, time.monotonic() - began)


class _Worker:
    """The process that loads: asked once, heard until it has answered, and ended in any case."""

    def __init__(self, temporary: Path, *, quiet: bool) -> None:
        # What its libraries print may hold a name that a key_file keeps out of files; a faulty entry may have had one.
        self.prints = Path(os.devnull) if quiet else temporary / "prints"
        self.last = ""
        with self.prints.open("wb") as prints:
            self.process: subprocess.Popen[bytes] = started(["-m", "rqa.load_worker"], prints, TMPDIR=str(temporary))
        self.heard: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self.doing: Doing | None = None
        self.share: float | None = None
        self.done = False
        self.thread = threading.Thread(target=_hear, args=(self._output, self.heard), name="rqa-worker", daemon=True)
        self.thread.start()

    @property
    def _input(self) -> IO[bytes]:
        return self.process.stdin  # type: ignore[return-value]  # it is a pipe

    @property
    def _output(self) -> IO[bytes]:
        return self.process.stdout  # type: ignore[return-value]  # it is a pipe

    @property
    def code(self) -> int:
        """What it has ended with: 0 if by itself, minus the signal's number if by one."""
        return self.process.returncode or 0

    def ask(self, asked: object) -> None:
        """Say what is to be loaded; one that has ended already is told of when its answer is lacking."""
        with suppress(BrokenPipeError):
            pickle.dump(asked, self._input)
            self._input.flush()

    def answer(self, progress: Progress) -> dict[str, Any] | None:
        """Hear what it does, and tell its stages, until it has answered; None where it ends without an answer.

        Raises `MappingError` where the mapping's SQL runs on after its limit and a grace.
        """
        until = inf
        while True:
            check()
            try:
                said = self.heard.get(timeout=AGAIN_SECONDS)
            except queue.Empty:
                if self.doing is not None and time.monotonic() > until:
                    # The reader of workbooks, which it may have started, ends with it.
                    self.process.kill()
                    raise MappingError(self.doing.too_late) from None
                continue
            match said:
                case {"doing": given}:
                    self.doing = doing = None if given is None else Doing(**given)
                    until = time.monotonic() + doing.seconds + GRACE_SECONDS if doing and doing.computed else inf
                case {"share": share}:
                    self.share = share
                case {"stage": given, "known": known}:
                    self.share = None
                    progress(Stage(**given, within=self._share if known else None))
                    with suppress(BrokenPipeError):
                        self._input.write(b"\n")
                        self._input.flush()
                case _:
                    self.done = said is not None
                    return said

    def _share(self) -> float | None:
        return self.share

    def end(self) -> None:
        """Have it end: by itself, where it has answered or can be stopped, or else at once; nothing of it is left."""
        if not self.done:
            with suppress(OSError):
                self.process.terminate()
        try:
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(STOP_SECONDS)
        finally:
            # A second Ctrl-C ends the waiting where Python alone hears of it.
            self.process.kill()
            self.process.wait()
            self.thread.join(STOP_SECONDS)
            for pipe in (self._input, self._output):
                with suppress(OSError):
                    pipe.close()
            self.last = _last_line(self.prints)

    def died(self, *, replaced: bool) -> RqaError:
        """What to say where it has ended without an answer."""
        name = _signal(-self.code) if self.code < 0 else ""
        doing, end = self.doing, "The load had ended before, so the store is the new one." if replaced else AS_IT_WAS
        reads = f" while it read {_files(doing)} for {doing.place}" if doing is not None else ""
        if self.done or name in STOPS:
            return StoreError(f"the load was stopped by a signal to its process{reads}. Load again. {end}")
        if name == "SIGKILL":
            return StoreError(
                f"the process that loads was killed{reads}, most likely as the machine has no more memory. Close other "
                f"programs, or allow the engine less (memory=, --memory), and load again. {end}"
            )
        if name and doing is not None:
            also = f", or {listed(doing.computed)} asks for what the engine cannot do" if doing.computed else ""
            return SourceError(
                f"{_files(doing)}: the process that read it for {doing.place} has ended ({name}). The file is most "
                f"likely damaged{also}. Export it again, or as CSV, and load again. {end}"
            )
        how = (name or f"exit code {self.code}") + (f", after {told(self.last)}" if self.last else "")
        return StoreError(f"the process that loads has ended{reads} ({how}). Load again, or report it. {end}")


def _hear(pipe: IO[bytes], heard: "queue.Queue[dict[str, Any] | None]") -> None:
    """Pass on what is said, and None at its end; what is no message, as native code may write at its end, is not."""
    for line in pipe:
        with suppress(ValueError):
            said = json.loads(line)
            if isinstance(said, dict):
                heard.put(said)
    heard.put(None)


def _last_line(prints: Path) -> str:
    """The last line that was printed there, of which there may be very many."""
    try:
        with prints.open("rb") as printed:
            with suppress(OSError):
                printed.seek(-LAST_BYTES, os.SEEK_END)
            lines = printed.read(LAST_BYTES).decode(errors="replace").strip().splitlines()
    except OSError:
        return ""
    return lines[-1].strip() if lines else ""


def _signal(number: int) -> str:
    return next((s.name for s in signal.Signals if s == number), f"signal {number}")


def _files(doing: Doing) -> str:
    more = f" and {len(doing.files) - NAMED:,} more" if len(doing.files) > NAMED else ""
    return ", ".join(doing.files[:NAMED]) + more if doing.files else doing.label


def _portable(frames: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if not frames:
        return None
    from rqa.store.readers import portable

    return {name: portable(frame) for name, frame in frames.items()}


def report_told(report: LoadReport) -> dict[str, Any]:
    """A report as JSON can hold it."""
    return {"report": {name: part for name, part in asdict(report).items() if name not in ("store", "seconds")}}


def _report(said: Mapping[str, Any], store: Path, seconds: float) -> LoadReport:
    parts = {
        "files": tuple(FileCount(**f) for f in said["files"]),
        "refusals": tuple(Refusal(**r) for r in said["refusals"]),
        "remarks": tuple(Remark(**r) for r in said["remarks"]),
        "selects": {label: tuple(files) for label, files in said["selects"].items()},
        "alarms": tuple(said["alarms"]),
        "seen": None if said["seen"] is None else seen_of(said["seen"]),
    }
    return LoadReport(**{**said, **parts, "store": store, "seconds": seconds})


def error_told(error: BaseException) -> dict[str, Any]:
    """An error as JSON can hold it, and where it arose: not for one that is ours and has no other cause."""
    faults = error.faults if isinstance(error, MappingError) else ()
    said = {"kind": type(error).__name__, "said": str(error), "faults": faults, "parts": _parts(error)}
    plain = isinstance(error, RqaError) and error.__cause__ is None
    return {"error": said, "trace": "" if plain else "".join(traceback.format_exception(error))}


def _parts(error: BaseException) -> list[Any]:
    """What an error is made of, where JSON can hold that, or else its text; a system's error names number and file."""
    parts: tuple[Any, ...] = error.args
    if isinstance(error, OSError) and error.filename is not None:
        name = error.filename
        parts = (error.errno, error.strerror, os.fsdecode(name) if isinstance(name, bytes | os.PathLike) else name)
    return list(parts) if all(isinstance(part, str | int | float | None) for part in parts) else [str(error)]


def _error(said: Mapping[str, Any]) -> Exception:
    """The error that was told; of a kind that is neither ours nor Python's, a plain one that names it."""
    kind = said["kind"]
    if kind == MappingError.__name__:
        return MappingError(said["said"], said["faults"])
    made = KINDS.get(kind) or getattr(builtins, kind, None)
    if isinstance(made, type) and issubclass(made, Exception):
        with suppress(TypeError):
            return made(*said["parts"])
    return RuntimeError(f"{kind}: {said['said']}")
