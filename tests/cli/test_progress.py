"""Long work says what it does: honest shares and times left, one line on a terminal, nothing anywhere else."""

import io
import os
import re
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from rqa.cli import main
from rqa.loading import load
from rqa.progress import Stage
from rqa.progress_line import FEWEST_SECONDS, SMALLEST_SHARE, Pace, line_of, progress_line
from tests.workspaces import Workspace, csv_of, job

SECONDS = st.floats(0.1, 100_000)


def paced(total: float, until: float, steps: int, *, share_at: "object" = None) -> Pace:
    """Work of `total` seconds that reported `steps` times up to the time `until`; steady unless told."""
    pace = Pace(0.0)
    for i in range(1, steps + 1):
        t = until * i / steps
        pace.note(t, share_at(t) if callable(share_at) else t / total)
    return pace


@given(SECONDS, st.floats(0.0, 0.99), st.integers(1, 200))
def test_the_time_left_of_steady_work_is_right_or_not_told(total: float, share: float, steps: int) -> None:
    now = total * share
    left = paced(total, now, steps).left(now)
    if left is None:
        assert now < FEWEST_SECONDS or share < SMALLEST_SHARE * 1.01 or steps < 3
    else:
        assert left == pytest.approx(total - now, rel=1e-6)


@given(SECONDS, st.floats(0.06, 0.9))
def test_no_time_left_is_told_of_work_that_stalls_or_whose_size_is_not_known(total: float, share: float) -> None:
    stalls = paced(total, total, 50, share_at=lambda t: min(share, 4 * share * t / total))
    assert stalls.left(total) is None
    assert paced(total, total, 50, share_at=lambda t: None).left(total) is None


@given(st.lists(st.floats(0, 1) | st.none(), max_size=30))
def test_a_share_never_goes_back(shares: list[float | None]) -> None:
    pace, seen = Pace(0.0), [0.0]
    for now, share in enumerate(shares):
        pace.note(float(now), share)
        seen.append(pace.share)
    assert seen == sorted(seen)


@given(
    st.builds(
        Stage, st.text(st.characters(exclude_categories=["C"]), max_size=300), st.floats(0, 10),
        st.floats(0, 10), count=st.integers(0, 10**12),
    ),
    st.floats(0, 10**7), st.integers(1, 200),
)
def test_the_line_is_shorter_than_the_terminal(stage: Stage, now: float, width: int) -> None:
    pace = Pace(0.0)
    pace.note(now, stage.share)
    assert len(line_of(stage, pace, now, width=width)) < width


def test_the_line_says_what_how_far_how_fast_and_what_is_left() -> None:
    pace = paced(30.0, 12.0, 24)
    stage = Stage("reading alder/steps.csv", 40, 100, count=1_204_331)
    assert line_of(stage, pace, 12.0, width=120) == (
        "12 s  ▰▰▰▰▱▱▱▱▱▱ 40 %  reading alder/steps.csv  1,204,331 rows, 100,000 rows/s  about 20 s left"
    )
    assert line_of(Stage("part 3 of 11: goals"), Pace(0.0), 75.0, width=120) == "1 min 15 s  part 3 of 11: goals"


def test_nothing_is_written_where_there_is_no_terminal() -> None:
    out = io.StringIO()
    with progress_line(out) as progress:
        progress(Stage("long"))
        time.sleep(1.0)
    assert out.getvalue() == ""


def test_a_load_tells_its_stages_with_rows_and_a_share_that_grows(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(*(job(f"A{i}", unit_id=f"U{i}") for i in range(100))))
    ws.write("2.csv", csv_of(*(job(f"B{i}", unit_id=f"V{i}") for i in range(50))))
    mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    told: list[Stage] = []
    load(ws.folder, mapping=mapping, progress=told.append)
    assert [s.what for s in told] == [
        "reading 1.csv", "reading 2.csv", "checking jobs", "linking jobs and counting",
        "writing the store and reading it back",
    ]
    assert [s.count for s in told] == [0, 100, 150, 150, 150]
    shares = [s.done / s.total for s in told]
    assert shares == sorted(shares)
    assert shares[0] == 0
    assert told[-1].done + told[-1].size == pytest.approx(told[-1].total)
    assert all(s.share is not None and 0 <= s.share <= 1 for s in told)  # also after the load has ended


@pytest.mark.parametrize("command", ["load", "inspect", "review"])
def test_no_command_writes_to_stderr_unless_it_is_a_terminal(ws: Workspace, command: str) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.write("sources.toml", '[files.f]\npath = "1.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n')
    load(ws.folder)
    done = CliRunner().invoke(main, [command, str(ws.folder)])
    assert done.exit_code == 0, done.output
    assert done.stderr == ""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_on_a_terminal_a_line_is_drawn_and_wiped(tmp_path: Path) -> None:
    import pty

    child, handle = pty.fork()
    if child == 0:  # pragma: no cover
        os.environ["TERM"], os.environ["COLUMNS"] = "xterm", "100"
        words = ["demo", str(tmp_path / "out"), "--jobs", "300", "--no-run"]
        os.execv(sys.executable, [sys.executable, "-m", "rqa", *words])
    written = b""
    while True:
        try:
            part = os.read(handle, 65536)
        except OSError:
            break
        if not part:
            break
        written += part
    os.close(handle)
    assert os.waitpid(child, 0)[1] == 0
    text = written.decode()
    drawn = [piece.split("\r\n")[0] for piece in text.split("\r\x1b[K")[1:]]
    seen = [d for d in drawn if d]
    assert any(re.search(r"part \d+ of \d+: ", d) for d in seen)
    assert any("linking" in d or "reading" in d or "checking" in d for d in seen)
    assert all(len(d) < 100 for d in seen if not d.startswith("table"))
    assert "The page:" in text.rsplit("\x1b[K", 1)[1]
