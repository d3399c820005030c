"""Jobs closed without their tests in order: what was amiss a row."""

from typing import Any

from rqa.answers.tests.releases import FEWEST, Releases
from rqa.plots.pictures import draws
from rqa.plots.tests.share_rows import drawn, row_of
from rqa.plots.theme import WIDTH
from rqa.words import count, known

CHECKS = {
    "missing": "a usual test was not run", "failed": "last run failed", "aborted": "last run aborted",
    "early": "tested before the last step", "any": "any of these",
}


@draws(Releases)
def plot_releases(answer: Releases, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The share of jobs closed without tests in order, on each row, with how often they come back in words.

    How many times as often, with its limits, is said where each side has enough matured jobs, else how many of them
    came back.
    """
    rows = []
    for r in answer.table.iter_rows(named=True):
        ratio = known(r["ratio"]) and min(r["matured"], r["other_matured"]) >= FEWEST and r["returned"]
        after = f"  ·  {count(r['returned'])} of {count(r['matured'])} came back" if r["matured"] else ""
        if ratio:
            high = f"{r['ratio_high']:.1f}" if known(r["ratio_high"]) else "any"
            after = f"  ·  risk × {r['ratio']:.1f} ({r['ratio_low']:.1f} to {high})"
        row = row_of(answer, r, share="share", why="cannot be judged", label=CHECKS[r["check"]], of="of released jobs",
                     beside=f"{count(r['flagged'])} of {count(r['jobs'])}{after}")
        rows.append(row)
    top = max([row["high"] for row in rows if row["value"] is not None], default=0.01)
    subtitle = ["dot = share of released jobs, line = {level} interval",
                "risk × = how many times as often they come back as comparable work"]
    return drawn(answer, rows, "Released without the tests in order", subtitle, headed, width,
                 domain=(0.0, min(1.0, max(0.01, top))))
