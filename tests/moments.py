"""The command `rqa` in a process of its own, which gets a signal at a moment that is counted, not timed.

A moment is an audit event of Python: a file opened, renamed or removed, a folder made, a module imported. How many a
command has is counted first; a share of them names one of them again, on any machine. Before `run` begins, Python alone
hears of signals.
"""

import subprocess
import sys
from pathlib import Path

DRIVER = """
import os, signal, sys

number, at, counted, *words = sys.argv[1:]
number, at, met = int(number), int(at), 0
signal.signal(signal.SIGHUP, signal.SIG_DFL)

def hook(event, args):
    global met
    if event.startswith(("import", "open", "os.", "shutil.", "tempfile.", "fcntl.")):
        met += 1
        if met == at:
            os.kill(os.getpid(), number)

sys.argv = ["rqa", *words]
from rqa.__main__ import run
sys.addaudithook(hook)
try:
    run()
finally:
    if counted:
        with open(counted, "w") as out:
            out.write(str(met))
"""
SECONDS = 120


def at_moment(number: int, at: int, *words: str, counted: str = "") -> "subprocess.CompletedProcess[str]":
    """Run the command with the signal at this moment, or with none at moment 0."""
    return subprocess.run(
        [sys.executable, "-c", DRIVER, str(int(number)), str(at), counted, *words],
        capture_output=True, text=True, check=False, timeout=SECONDS,
    )


def moments_of(scratch: Path, *words: str) -> int:
    """How many moments a command has that nothing stops."""
    done = at_moment(0, 0, *words, counted=str(scratch / "moments"))
    assert done.returncode == 0, done.stderr
    return int((scratch / "moments").read_text())


def after(seconds: float, number: int, *words: str) -> "subprocess.CompletedProcess[str]":
    """Run the command with the signal so many seconds after it has begun."""
    begin = "import signal; signal.signal(signal.SIGHUP, signal.SIG_DFL); from rqa.__main__ import run, signal; "
    tell = "take = signal.signal; signal.signal = lambda *a: (take(*a), a[0] == signal.SIGHUP and print(flush=True)); "
    command = [sys.executable, "-c", f"{begin}{tell}run()", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        running.stdout.readline()
        try:
            running.wait(seconds)
        except subprocess.TimeoutExpired:
            running.send_signal(number)
        out, err = running.communicate(timeout=SECONDS)
    return subprocess.CompletedProcess(command, running.returncode, out, err)
