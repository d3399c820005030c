"""The line that shows long work on a terminal: what is done, for how long, how far, how fast, and what is left.

    12 s  ▰▰▰▰▱▱▱▱▱▱ 41 %  reading alder/steps.csv  1,204,331 rows, 310,000 rows/s  about 20 s left

It is drawn on stderr, over itself, once a piece of work takes longer than a moment, and is wiped when the work ends;
where stderr is no terminal nothing is drawn.
"""

import os
import shutil
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from rqa.progress import Progress, Stage, silent
from rqa.shown import one_line
from rqa.stopping import held
from rqa.words import count, duration

QUIET_SECONDS = 0.7
"""Work that ends sooner is not worth a line."""
DRAW_SECONDS = 0.2
PLACES = 10
FULL, EMPTY = "▰", "▱"
PLAIN_FULL, PLAIN_EMPTY = "#", "."
"""What the bar is made of where the terminal's encoding lacks the others."""

FEWEST_SECONDS, SMALLEST_SHARE = 3.0, 0.05
"""Below these no time left is told: so little work says nothing about the rest."""
UNEVEN = 1.5
"""Nor is it where the later half of the time went so many times faster or slower than all of it."""


class Pace:
    """How a piece of work goes: what was done when, and from that the time it still takes."""

    def __init__(self, started: float) -> None:
        self.started = started
        self.seen: deque[tuple[float, float]] = deque([(started, 0.0)], maxlen=600)

    def note(self, now: float, share: float | None) -> None:
        """Take down how far the work is; it never goes back."""
        if share is not None:
            self.seen.append((now, max(share, self.seen[-1][1])))

    @property
    def share(self) -> float:
        """How far the work is."""
        return self.seen[-1][1]

    def left(self, now: float) -> float | None:
        """Seconds until the work ends; None where that cannot be told honestly.

        It is the time taken so far over the share done, where that share is not tiny and the speed was steady.
        """
        taken, done = now - self.started, self.share
        if taken < FEWEST_SECONDS or not SMALLEST_SHARE <= done < 1.0:
            return None
        middle = min(self.seen, key=lambda s: abs(s[0] - (self.started + taken / 2)))
        lately = (done - middle[1]) / max(now - middle[0], 1e-9)
        overall = done / taken
        if not overall / UNEVEN <= lately <= overall * UNEVEN:
            return None
        return taken * (1.0 - done) / done


def line_of(stage: Stage, pace: Pace, now: float, *, width: int, plain: bool = False) -> str:
    """One line that is shorter than `width`: what matters less is left out where there is no room."""
    taken, what = now - pace.started, one_line(stage.what)
    full, empty = (PLAIN_FULL, PLAIN_EMPTY) if plain else (FULL, EMPTY)
    bar = speed = left = ""
    if stage.total > 0:
        done = round(pace.share * PLACES)
        bar = f"{full * done}{empty * (PLACES - done)} {pace.share * 100:.0f} %"
    if stage.count:
        speed = f"{count(stage.count)} {stage.unit}"
        if taken >= 1.0:
            speed += f", {count(_two_digits(stage.count / taken))} {stage.unit}/s"
    seconds = pace.left(now)
    if seconds is not None:
        left = f"about {duration(_rounded(seconds))} left"
    for parts in (
        (duration(taken), bar, what, speed, left),
        (duration(taken), bar, what, left),
        (bar, what),
        (what,),
    ):
        text = "  ".join(p for p in parts if p)
        if len(text) < width:
            return text
    return what[: max(0, width - 1)]


def _two_digits(number: float) -> int:
    """A speed, with no more digits than it deserves."""
    return int(float(f"{number:.2g}"))


def _rounded(seconds: float) -> float:
    """A time left, in steps that its uncertainty deserves: 5 seconds, a minute, 5 minutes."""
    step = 5 if seconds < 100 else 60 if seconds < 3600 else 300
    return max(step, step * round(seconds / step))


class _Line:
    """The line on one terminal, redrawn by a thread of its own, so that it moves while an engine works."""

    def __init__(self, out: TextIO, clock: Callable[[], float]) -> None:
        self.out, self.clock = out, clock
        self.plain = not _can_write(out, FULL + EMPTY)
        self.lock = threading.Lock()
        self.stage: Stage | None = None
        self.pace = Pace(clock())
        self.shown = False

    def tell(self, stage: Stage) -> None:
        """Take a stage; a new piece of work, known by its total, begins its own pace."""
        with self.lock:
            if self.stage is None or (stage.total, stage.unit) != (self.stage.total, self.stage.unit):
                self.pace = Pace(self.clock())
            self.stage = stage
            self.pace.note(self.clock(), stage.share)

    def draw(self) -> None:
        """Draw the line as it is now."""
        with self.lock:
            now = self.clock()
            if self.stage is None or now - self.pace.started < QUIET_SECONDS:
                return
            self.pace.note(now, self.stage.share)
            width = shutil.get_terminal_size().columns
            self._write(f"\r\x1b[K{line_of(self.stage, self.pace, now, width=width, plain=self.plain)}")
            self.shown = True

    def wipe(self) -> None:
        """Leave the terminal as if nothing had been drawn."""
        with self.lock:
            if self.shown:
                self._write("\r\x1b[K")
            self.shown, self.stage = False, None

    def _write(self, text: str) -> None:
        self.out.write(text)
        self.out.flush()


def _can_write(out: TextIO, text: str) -> bool:
    try:
        text.encode(out.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def is_shown(out: TextIO) -> bool:
    """Whether a line can be drawn over itself there."""
    return out.isatty() and os.environ.get("TERM") != "dumb"


@contextmanager
def progress_line(out: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> Iterator[Progress]:
    """What shows the stages told to it, on a terminal; elsewhere nobody listens."""
    out = sys.stderr if out is None else out
    if not is_shown(out):
        yield silent
        return
    line, ended = _Line(out, clock), threading.Event()

    def redraw() -> None:
        while not ended.wait(DRAW_SECONDS):
            line.draw()

    thread = threading.Thread(target=redraw, name="rqa-progress", daemon=True)
    thread.start()
    try:
        yield line.tell
    finally:
        with held():
            ended.set()
            thread.join()
            line.wipe()
