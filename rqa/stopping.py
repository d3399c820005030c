"""Stopping long work by a signal, without a trace of it left behind.

`stoppable` turns SIGINT, SIGTERM and SIGHUP into one `Stopped`, raised once, in the main thread, at the next moment
that is not `held`; where Python loses it, as in a finalizer, it is raised again. Work that must not be torn apart
(making and removing a scratch folder, putting a store in place) holds it and releases it for what may end at any
moment. An engine that is asked something hears of a signal only by its own interruption, so a thread interrupts
whatever is `interruptible` until the work has ended.

Without `stoppable` a signal does what Python makes of it. `ending_cleanly` is for work that a program of somebody else
calls: signals that would end the program at once end the work first, and the program then.
"""

import os
import signal
import sys
import threading
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any, Protocol

SIGNALS = tuple(s for s in (getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")) if s is not None)
"""The signals that ask work to stop; not every system has each."""
AGAIN_SECONDS = 0.05
"""How often a running question is interrupted, until it ends: one that has just begun may miss an interruption.
How often work that cannot be interrupted looks for a signal, too."""


class Stopped(BaseException):
    """The work was stopped by a signal, `number`; no mistake, so nothing that handles mistakes catches it."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


class Engine(Protocol):
    """Something that is asked questions, and can be told to end one."""

    def interrupt(self) -> None:
        """End the question that is being answered; does nothing when there is none."""


class Stopping:
    """The signals met since it was installed: `signal` is the first of them, None as long as there was none."""

    def __init__(self) -> None:
        self.signal: int | None = None
        self.raised = False
        self.over = False

    @property
    def exit_code(self) -> int:
        """What a program ends with that a signal has stopped: 128 and the signal's number."""
        return 128 + (self.signal or 0)

    @property
    def due(self) -> bool:
        """Whether a signal was met that is still to be raised."""
        return self.signal is not None and not self.raised

    def met(self, number: int, frame: FrameType | None) -> None:
        """Take a signal: raise `Stopped` at the first one, now or, if held, at the release."""
        if self.signal is None and not self.over:
            self.signal = number
        self.raise_once()

    def raise_once(self) -> None:
        """Raise `Stopped` for a signal that was met and has not been raised, unless it is held."""
        if self.signal is not None and not self.raised and not _HELD:
            self.raised = True
            raise Stopped(self.signal)

    def end(self) -> None:
        """The work is done: a signal from now on stops nothing."""
        self.over = True

    def lost(self, lost: "sys.UnraisableHookArgs", tell: "Callable[[sys.UnraisableHookArgs], Any]") -> None:
        """What Python calls for an exception that it cannot raise: ours is raised again, others are told by `tell`."""
        if lost.exc_type is not Stopped:
            tell(lost)
        elif not self.over:
            self.raised = False


_HELD: list[str] = []
_ASKED: list[Engine] = []
_INSTALLED: list[Stopping] = []


@contextmanager
def stoppable(
    afterwards: signal.Handlers | None = None, numbers: Collection[signal.Signals] = SIGNALS
) -> Iterator[Stopping]:
    """Let signals stop what is done inside. Only a main thread hears of signals; a second one inside is the first.

    A signal means afterwards what it meant before, or else `afterwards`. SIGHUP stays ignored where it was, as for a
    program that is to outlive its terminal.
    """
    if _INSTALLED:
        yield _INSTALLED[0]
        return
    stopping = Stopping()
    if threading.current_thread() is not threading.main_thread():
        yield stopping
        return
    before = {n: signal.getsignal(n) for n in numbers}
    taken = [n for n in numbers if n == signal.SIGINT or before[n] is not signal.SIG_IGN]
    wake, woken = os.pipe()
    os.set_blocking(woken, False)
    ended = threading.Event()
    thread = threading.Thread(target=_interrupt, args=(stopping, wake, ended, taken), name="rqa-stopping", daemon=True)
    tell = sys.unraisablehook
    with held():
        for number in taken:
            signal.signal(number, stopping.met)
        fd_before = signal.set_wakeup_fd(woken, warn_on_full_buffer=False)
        sys.unraisablehook = lambda lost: stopping.lost(lost, tell)
        _INSTALLED.append(stopping)
        thread.start()
        try:
            with released():
                yield stopping
        finally:
            stopping.end()
            stopping.raised = True
            ended.set()
            os.write(woken, b"\0")
            thread.join()
            sys.unraisablehook = tell
            signal.set_wakeup_fd(fd_before)
            for number in taken:
                signal.signal(number, before[number] if afterwards is None else afterwards)
            _INSTALLED.clear()
            os.close(wake)
            os.close(woken)


@contextmanager
def ending_cleanly() -> Iterator[None]:
    """Have SIGTERM and SIGHUP end what is done inside before they end the program, where nobody else takes them."""
    plain = [n for n in SIGNALS if n != signal.SIGINT and signal.getsignal(n) is signal.SIG_DFL]
    if _INSTALLED or not plain or threading.current_thread() is not threading.main_thread() or _is_woken():
        yield
        return
    stopping = Stopping()
    try:
        with stoppable(numbers=plain) as stopping:
            yield
    except Stopped as stopped:
        stopping.signal = stopped.number
        raise
    finally:
        if stopping.signal is not None:
            # Whatever error the end of the work made: it means again what it meant before, which is the end.
            signal.raise_signal(stopping.signal)


def _is_woken() -> bool:
    """Whether the program has Python tell it of signals by a file, as an event loop does; that is left alone."""
    before = signal.set_wakeup_fd(-1)
    signal.set_wakeup_fd(before)
    return before != -1


def _interrupt(stopping: Stopping, wake: int, ended: threading.Event, taken: Collection[int]) -> None:
    """Wait for one of the signals taken, then interrupt whatever an engine is asked, until the work has ended."""
    while (number := os.read(wake, 1)[0]) and number not in taken:
        # It is the program's own, which handles it itself.
        pass
    while not ended.wait(AGAIN_SECONDS):
        if stopping.due:
            # It was lost where it was raised, or came before the main thread could hear of it.
            signal.raise_signal(stopping.signal or signal.SIGINT)
        for engine in list(_ASKED):
            # One that was closed at this very moment has nothing left to end, and says so.
            with suppress(Exception):
                engine.interrupt()


@contextmanager
def interruptible(engine: Engine) -> Iterator[None]:
    """A signal ends what this engine is asked inside; raises `Stopped` at once where one was met before."""
    _ASKED.append(engine)
    try:
        check()
        yield
    finally:
        _ASKED.remove(engine)


def check() -> None:
    """Raise `Stopped` if a signal was met and nothing holds it; for loops that never ask an engine."""
    for stopping in _INSTALLED:
        stopping.raise_once()


def is_stopped() -> bool:
    """Whether a signal was met that is still to be raised; for work that is held and can end early by itself."""
    return any(stopping.due for stopping in _INSTALLED)


@contextmanager
def held() -> Iterator[None]:
    """No signal ends what is done inside; one that comes meanwhile does so afterwards."""
    _HELD.append("held")
    try:
        yield
    finally:
        _HELD.pop()
    check()


@contextmanager
def released() -> Iterator[None]:
    """Within `held`: what is done inside may end by a signal at any moment."""
    kept = list(_HELD)
    _HELD.clear()
    try:
        check()
        yield
    finally:
        _HELD[:] = kept
