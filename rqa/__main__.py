"""The command `rqa`, which `python -m rqa` is, too: signals stop it from the first moment on, without a traceback.

What is imported here and by `rqa` itself is little on purpose: until `run` begins, Python tells of a signal in its way.
"""

import os
import signal
import sys
from types import FrameType

SAYS = "rqa: stopped; nothing was changed.\n"


def _end(number: int, frame: FrameType | None) -> None:
    """End at once: nothing has begun yet that would have to be cleaned up."""
    os.write(2, SAYS.encode())
    os._exit(128 + number)


def run() -> None:
    """Run the command line, and end as a program that a signal has stopped where one has."""
    for number in (getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")):
        if number is not None and (number == signal.SIGINT or signal.getsignal(number) is not signal.SIG_IGN):
            signal.signal(number, _end)
    from rqa.stopping import Stopped, stoppable

    try:
        # While Python takes itself down after the work there is nothing left to stop.
        with stoppable(afterwards=signal.SIG_IGN) as stopping:
            try:
                from rqa.cli import main

                main(prog_name="rqa")
            except BaseException as error:
                # A module that is torn apart while it is imported tells of it in words of its own.
                if stopping.signal is None or isinstance(error, SystemExit):
                    raise
                raise Stopped(stopping.signal) from error
    except Stopped as stopped:
        sys.stderr.write(SAYS)
        sys.exit(128 + stopped.number)


if __name__ == "__main__":
    run()
