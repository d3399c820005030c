"""Two periods compared: the difference and its parts, then each group's rate, as points with limits."""

from typing import Any

from rqa.answers.compare.period_words import measured, points
from rqa.answers.compare.periods_compared import PeriodsCompared
from rqa.answers.core.needs import said_of
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, nothing
from rqa.words import NAMES, counted, known, listed, months_said, percent, spoken

MOST = 12
"""Groups drawn, those with the largest parts; the table holds all."""
WHOLE = {
    "difference": "The whole difference", "rate": "Part: other rates on the same mix",
    "mix": "Part: another mix of {by}", "interaction": "Part: both together",
}


def periods_title(answer: PeriodsCompared) -> str:
    """What was compared, and by what."""
    s: Any = answer.settings
    return f"{measured(s)[0]}: {months_said(*s['before'])} beside {months_said(*s['after'])}"


@draws(PeriodsCompared, title=periods_title, limited=True)
def plot_periods(
    answer: PeriodsCompared,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """A row for the difference and each part of it, then a row a group: the change of its rate, in points."""
    title, by = periods_title(answer), by_of(answer)
    parts = answer.parts
    if parts is None or parts["size"].null_count():
        why = said_of(answer, "A period has no cases, so there is no difference to take apart.")
        return nothing(title=title, why=why, headed=headed, width=width)
    names = listed([NAMES.get(b, b) for b in by])
    rows = [
        _row(WHOLE[r["part"]].format(by=names or "work"), r["size"], r["low"], r["high"], r["verdict"])
        for r in parts.iter_rows(named=True) if by or r["part"] == "difference"
    ]
    most = limit or MOST
    drawn = answer.table.head(most) if by else answer.table.head(0)
    for r in drawn.iter_rows(named=True):
        label = " · ".join(spoken(r[b]) for b in by)
        beside = f"{percent(r['rate_before'])} → {percent(r['rate_after'])}"
        rows.append(_row(label, r["change"], r["change_low"], r["change_high"], r["verdict"] or "", beside))
    level = float(str(answer.settings["level"])) * 100
    subtitle = [
        f"dot = difference in points, after less before; line = {level:g} % interval; tick = 0",
        f"below the parts: the change of the rate by {names}, those that bring most first" if by else "",
    ]
    if answer.table.height > most and by:
        subtitle.append(f"the first {most} of {counted(answer.table.height, 'group')}")
    ends = [abs(r[end]) for r in rows for end in ("low", "high") if r[end] is not None]
    reach = max(1.0, min(max(ends, default=1.0), 2.5 * max((abs(r["value"] or 0.0) for r in rows), default=1.0) + 2.0))
    return figure_rows(
        rows, title=title, subtitle=[*[s for s in subtitle if s], *limits(answer)],
        axis={"format": "+.0f" if reach > 4.0 else "+.1f"},
        domain=(-reach * 1.05, reach * 1.05), headed=headed, width=width, mark=0.0,
    )


def _row(
    label: str, size: float | None, low: float | None, high: float | None, verdict: str, beside: str = ""
) -> dict[str, Any]:
    have = known(size) and known(low) and known(high)
    said = points(size, low, high) if have else ""  # type: ignore[arg-type]
    return {
        "label": label, "value": size * 100 if have else None, "low": low * 100 if have else None,  # type: ignore[operator]
        "high": high * 100 if have else None, "beside": f"{beside}  ·  {verdict}".strip(" ·"),  # type: ignore[operator]
        "why": "" if have else "one period has no cases of it", "interval": said,
    }
