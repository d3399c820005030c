"""The program that does a load in a process of its own, for `load_apart`: it is asked once, and says what it does.

It is asked by a pickle on its input, and answers with lines of JSON: what it reads, the stages of its work, and in the
end its report, or its error. After each stage it waits for a sign to go on, so that whoever listens may stop it there.
It ends with who has started it.
"""

import json
import os
import pickle
import signal
import threading
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from rqa.load_apart import error_told, report_told
from rqa.loading import load_here
from rqa.own_process import die_with_parent, limit
from rqa.progress import Stage, silent
from rqa.stopping import AGAIN_SECONDS, check, stoppable
from rqa.store.doing import Doing

SHARE_SECONDS = 0.2
"""How often it says how much of a stage is over."""


class Voice:
    """What the worker says, and the signs to go on that it hears."""

    def __init__(self, out: int) -> None:
        self.out = out
        self.lock = threading.Lock()
        self.signs = threading.Semaphore(0)
        self.within: Callable[[], float | None] | None = None

    def say(self, said: dict[str, Any]) -> None:
        """Say one thing, on one line."""
        line = json.dumps(said).encode() + b"\n"
        with self.lock:
            while line:
                line = line[os.write(self.out, line) :]

    def doing(self, doing: Doing | None) -> None:
        """Say what is read."""
        self.say({"doing": None if doing is None else asdict(doing)})

    def stage(self, stage: Stage) -> None:
        """Say what begins, and wait for the sign to go on."""
        given = {name: part for name, part in vars(stage).items() if name != "within"}
        self.within = stage.within
        self.say({"stage": given, "known": stage.within is not None})
        while not self.signs.acquire(timeout=AGAIN_SECONDS):
            check()

    def tell_shares(self) -> None:
        """Say again and again how much of a stage is over; for a thread of its own."""
        told, waiting = None, threading.Event()
        while not waiting.wait(SHARE_SECONDS):
            within = self.within
            share = within() if within is not None else None
            if share is not None and share != told:
                self.say({"share": share})
            told = share

    def hear(self) -> None:
        """Take in the signs to go on, and end at once where nobody is left to give them; for a thread of its own."""
        while os.read(0, 1):
            self.signs.release()
        os._exit(1)


def main() -> None:
    """Load what is asked for, say what came of it, and end."""
    out = os.dup(1)
    os.dup2(2, 1)
    die_with_parent()
    limit("RLIMIT_CORE", 0)
    if hasattr(signal, "SIGTERM"):
        # Where whoever has started it ignores this signal, it would ignore it, too.
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
    with os.fdopen(0, "rb", closefd=False) as asks:
        asked = pickle.load(asks)
    voice, listened = Voice(out), asked.pop("listened")
    threading.Thread(target=voice.hear, daemon=True).start()
    if listened:
        threading.Thread(target=voice.tell_shares, daemon=True).start()
    said: dict[str, Any] = {"stopped": True}
    try:
        with stoppable(afterwards=signal.SIG_IGN) as stopping:
            try:
                said = report_told(load_here(**asked, progress=voice.stage if listened else silent, tell=voice.doing))
            except BaseException as error:
                # An engine that is stopped says so in its own words.
                if stopping.signal is None:
                    said = error_told(error)
    finally:
        voice.say(said)


if __name__ == "__main__":
    main()
