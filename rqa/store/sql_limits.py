"""How long the SQL of a mapping may run, and how much memory it may take.

The engine's own memory limit does not hold for what one function asks for at once, such as a list without end.
"""

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from rqa.stopping import AGAIN_SECONDS
from rqa.store.limits import SIZE
from rqa.store.mapping_sql import LONGEST, PADDING

HEADROOM = 2 << 30
"""Bytes that the process may take beside the engine's limit while SQL of a mapping runs."""
UNITS = {"k": 10, "m": 20, "g": 30, "t": 40}


def limit_lengths(connection: duckdb.DuckDBPyConnection) -> None:
    """Have the functions that make something as long as a computed number tells make nothing too long.

    Within one such call the engine hears of no interruption, and fills memory sign by sign.
    """
    for name, counts in PADDING.items():
        forms = []
        for count in counts:
            first, asked, *more = [f"a{n}" for n in range(count)]
            said = f"format('{name}() is asked for {{:,}}; {LONGEST:,} is the most', {asked}::hugeint)"
            held = f"case when {asked} > {LONGEST} then error({said}) else {asked} end"
            given = ", ".join([first, held, *more])
            forms.append(f"({', '.join([first, asked, *more])}) as system.main.{name}({given})")
        connection.execute(f"create or replace temp macro {name}{', '.join(forms)}")


@contextmanager
def time_limit(connection: duckdb.DuckDBPyConnection, seconds: float) -> Iterator[threading.Event]:
    """Interrupt whatever the connection runs within after `seconds`; the event tells whether that happened.

    Within one call of a function the engine hears of no interruption: see `rqa.load_apart`.
    """
    late, ended = threading.Event(), threading.Event()

    def stop() -> None:
        if ended.wait(seconds):
            return
        late.set()
        while not ended.wait(AGAIN_SECONDS):
            connection.interrupt()

    thread = threading.Thread(target=stop, name="rqa-limit", daemon=True)
    thread.start()
    try:
        yield late
    finally:
        ended.set()
        thread.join()


@contextmanager
def memory_limit(memory: str | None) -> Iterator[None]:
    """Let the process take no more memory within than the engine may use and some headroom, where the system can.

    `memory` is the engine's limit, such as "1GB"; None sets no limit. What asks for more fails as out of memory.
    """
    try:
        import resource

        held = re.search(r"^VmData:\s+(\d+) kB", Path("/proc/self/status").read_text(), re.MULTILINE)
    except (ImportError, OSError):
        held = None
    if memory is None or held is None:
        yield
        return
    before = resource.getrlimit(resource.RLIMIT_DATA)
    most = int(held[1]) * 1024 + in_bytes(memory) + HEADROOM
    if before[0] != resource.RLIM_INFINITY:
        most = min(most, before[0])
    resource.setrlimit(resource.RLIMIT_DATA, (most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, before)


def in_bytes(size: str) -> int:
    """A size such as "1.5GB" or "512 MiB" in bytes, read generously: each step is 1024."""
    number, unit = SIZE.fullmatch(size.strip()).groups()  # type: ignore[union-attr]
    return int(float(number) * (1 << UNITS[unit.lower()]))
