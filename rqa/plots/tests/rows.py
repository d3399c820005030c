"""How tests end, whether their word can be believed, and what was released without them: a figure a row."""

from collections.abc import Iterable
from typing import Any, Literal

from rqa.answers.core.needs import said_of
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import PERIODS
from rqa.answers.tests.outcomes import DiagnosticOutcomes
from rqa.answers.tests.predictive_values import PredictiveValues
from rqa.answers.tests.releases import FEWEST, Releases
from rqa.answers.tests.retests import RetestPasses
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, nothing
from rqa.words import NAMES, count, counted, interval, known, percent, spoken

MOST = 60
"""Rows drawn; the table holds all."""
CHECKS = {
    "missing": "a usual test was not run", "failed": "last run failed", "aborted": "last run aborted",
    "early": "tested before the last step", "any": "any of these",
}
Row = dict[str, Any]


@draws(DiagnosticOutcomes)
def plot_outcomes(
    answer: DiagnosticOutcomes, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The share of first runs that passed, on each row, with the share in the end in words; the lowest first."""
    rows = []
    for r in answer.table.iter_rows(named=True):
        end = percent(r["final_pass_share"])
        rows.append(
            row_of(answer, r, share="first_pass_share", why="every first run was aborted", of="at the first run",
                   beside=f"{percent(r['first_pass_share'])} first  ·  {end} in the end  ·  {count(r['tests'])}")
        )
    order = ordered(answer, rows, "lowest first")
    low = min([row["low"] for row in rows if row["value"] is not None], default=0.0)
    subtitle = [f"dot = share of first runs that passed, line = {{level}} interval{order}",
                "beside it: the share whose last run passed, and the number of tests"]
    return drawn(answer, rows, "Tests passed at the first run and in the end", subtitle, headed, width,
                 domain=(max(0.0, int(low * 20) / 20), 1.0))


@draws(RetestPasses)
def plot_retests(answer: RetestPasses, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The share of fails that passed again with nothing done, on each row; the highest first."""
    rows = [
        row_of(answer, r, share="share", why="no fail" if not r["fails"] else "the step log has no times",
               beside=f"{count(r['retest_passes'])} of {count(r['judged'])}  ·  {percent(r['share'])}")
        for r in answer.table.iter_rows(named=True)
    ]
    order = ordered(answer, rows, "highest first")
    subtitle = ["dot = share of failed runs that passed again with nothing done", f"line = {{level}} interval{order}"]
    return drawn(answer, rows, "Failed, then passed with nothing done", subtitle, headed, width)


@draws(PredictiveValues)
def plot_worth(
    answer: PredictiveValues, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The share of fails after which nothing was found, with what a pass is worth in words; the highest first."""
    rows = [
        row_of(answer, r, share="overkill", why="no fail that can be judged", of="nothing found after",
               beside=f"{count(r['nothing_found'])} of {counted(r['nothing_found'] + r['confirmed'], 'fail')}  ·  "
                      f"pass holds in {percent(r['pass_value'])}")
        for r in answer.table.iter_rows(named=True)
    ]
    order, window = ordered(answer, rows, "highest first"), answer.settings["window"]
    subtitle = ["dot = share of fails after which nothing was found",
                f"line = {{level}} interval{order}",
                f"pass holds = not back within {counted(window, 'day')} for what the test covers"]
    return drawn(answer, rows, "Fails after which nothing was found", subtitle, headed, width)


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
                "risk × = how many times as often they come back as like work"]
    return drawn(answer, rows, "Released without the tests in order", subtitle, headed, width,
                 domain=(0.0, min(1.0, max(0.01, top))))


def ordered(answer: Answer, rows: list[Row], first: Literal["lowest first", "highest first"]) -> str:
    """Sort the rows by their share, and give the words for that; rows by month or week stay in time, without words."""
    if set(by_of(answer)) & set(PERIODS):
        return ""
    sign = -1.0 if first == "highest first" else 1.0
    rows.sort(key=lambda row: (row["value"] is None, sign * (row["value"] or 0.0), row["label"]))
    return f"; {first}"


def row_of(answer: Answer, r: Row, *, share: str, beside: str, why: str, label: str = "", of: str = "") -> Row:
    """A row of a picture from a row of an answer whose limits are low and high.

    `of` says which share the limits are of, where the words beside the row tell of another one too.
    """
    have = known(r[share])
    ends = interval(r["low"], r["high"]) if have else "no data"
    names = [spoken(r[b]) for b in by_of(answer)]
    return {
        "label": " · ".join([*names, label] if label else names) or "all", "value": r[share] if have else None,
        "low": r["low"] if have else None, "high": r["high"] if have else None, "beside": beside if have else "",
        "interval": f"{of} {percent(r[share])}, {ends}" if of and have else ends, "why": "" if have else why,
    }


def drawn(
    answer: Answer,
    rows: list[Row],
    title: str,
    subtitle: Iterable[str],
    headed: bool,
    width: int | str,
    *,
    domain: tuple[float, float] = (0.0, 1.0),
) -> Any:
    """The rows as a picture, cut to the first sixty; or one that says that nothing can be told."""
    by = by_of(answer)
    names = " and ".join(NAMES.get(b, b) for b in by)
    title += f", by {names}" if names else ""
    if all(row["value"] is None and row.get("from") is None for row in rows):
        return nothing(title=title, why=said_of(answer, rows[0]["why"].capitalize() + "."), headed=headed, width=width)
    level = f"{float(str(answer.settings['level'])) * 100:g} %"
    # A line may hold names, and these any sign: it is no pattern.
    said = [line.replace("{level}", level) for line in subtitle]
    if len(rows) > MOST:
        said.append(f"the first {MOST} of {counted(len(rows), 'row')}")
    return figure_rows(
        rows[:MOST], title=title, subtitle=[*said, *limits(answer)], axis={"format": "~%"}, domain=domain,
        headed=headed, width=width,
    )
