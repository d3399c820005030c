"""This Python again in a process of its own: for work that may end its process, or hear of no interruption."""

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import IO

DIES_WITH_PARENT = 1
"""PR_SET_PDEATHSIG of Linux."""


def started(
    words: Sequence[str], prints: IO[bytes] | int = subprocess.DEVNULL, **places: str
) -> subprocess.Popen[bytes]:
    """Python with these words behind its name, in a session of its own: a Ctrl-C goes to the process that started it.

    That one is to end it. It is asked and answers by pipes, and imports what this process would; a script of the user's
    is not run again. What it prints as errors goes to `prints`; `places` are variables of its environment.
    """
    own = {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path)), "RUST_BACKTRACE": "0"}
    return subprocess.Popen(
        [sys.executable, "-P", *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=prints,
        env=os.environ | own | places, start_new_session=True,
    )


def die_with_parent() -> None:
    """Have the system end this process when the one that started it is killed."""
    if sys.platform == "linux":
        import ctypes

        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(DIES_WITH_PARENT, signal.SIGKILL)


def limit(name: str, most: int) -> None:
    """Set a limit of this process, such as `RLIMIT_CPU`, where the system has it."""
    with suppress(ImportError, AttributeError, OSError, ValueError):
        import resource

        kind = getattr(resource, name)
        _, hard = resource.getrlimit(kind)
        resource.setrlimit(kind, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
