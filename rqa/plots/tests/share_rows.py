"""What pictures of the tests have in common: a share with its limits a row, and words beside it."""

from collections.abc import Iterable
from typing import Any, Literal

from rqa.answers.core.needs import said_of
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import PERIODS
from rqa.plots.figure_rows import figure_rows
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import nothing
from rqa.words import NAMES, counted, interval, known, percent, spoken

MOST = 60
"""Rows drawn; the table holds all."""
Row = dict[str, Any]


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
