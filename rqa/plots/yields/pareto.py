"""Failures as a staircase: each row's share begins where the ones above end, so share and sum are one picture."""

from typing import Any

import altair as alt

from rqa.answers.yields.pareto import Failures
from rqa.plots.groups import ROW
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import NAMES, counted, percent, spoken

MOST = 15
"""Rows drawn; the table holds all."""
SAID = 10


@draws(Failures)
def plot_failures(
    answer: Failures, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True, limit: int | None = None
) -> Any:
    """The staircase of failures, most first: a step for each share, a line for the interval of the sum."""
    by = by_of(answer)
    rows: list[dict[str, Any]] = []
    before = 0.0
    if "fault" in by and (answer.table["fault"] == "unknown").all():
        by = tuple(b for b in by if b != "fault")
    for r in answer.table.head(limit or MOST).iter_rows(named=True):
        label = " · ".join("no fault code" if b == "fault" and r[b] == "unknown" else spoken(r[b]) for b in by) or "all"
        rows.append({
            "row": len(rows), "label": label, "start": before, "end": r["cumulative"], "low": r["cumulative_low"],
            "high": r["cumulative_high"], "beside": f"{r['failures']:,}  ·  together {percent(r['cumulative'])}",
            "share": f"{percent(r['share'])} ({percent(r['low'])} to {percent(r['high'])})",
            "sum": f"{percent(r['cumulative'])} ({percent(r['cumulative_low'])} to {percent(r['cumulative_high'])})",
        })
        before = r["cumulative"]
    whole, level = int(answer.table["failures"].sum()), float(str(answer.settings["level"])) * 100
    names = " and ".join(NAMES.get(b, b) for b in by)
    title = f"Failed checks, by {names}" if names else "Failed checks"
    subtitle = [f"bar = share of all {counted(whole, 'failure')}, beginning where the rows above end; most first",
                f"line = {level:g} % interval of the share that it and the rows above make together"]
    if answer.table.height > len(rows):
        subtitle.append(f"the first {len(rows)} of {counted(answer.table.height, 'row')}")
    base = alt.Chart()
    scale = alt.Scale(domain=[0.0, 1.0], nice=False)
    y = alt.Y("row:O", axis=None, sort="ascending")

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=alt.Axis(format="%", tickCount=6, domain=False))

    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in (
        ("label", names or "all"), ("share", "share"), ("sum", "with the rows above"),
    )]
    chart = alt.layer(
        base.mark_bar(style="rqa-size", height=7, yOffset=9).encode(
            x=x("start"), x2=alt.X2("end:Q"), y=y, tooltip=tips
        ),
        base.mark_rule(style="rqa-interval", yOffset=9).encode(x=x("low"), x2=alt.X2("high:Q"), y=y),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 150)")).encode(
            text=alt.Text("label:N"), x=alt.XValue(0), y=y, tooltip=tips
        ),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
        data=Data(values=rows),
    ).properties(height=alt.Step(ROW))
    said = "; ".join(f"{r['label']}: {r['beside'].replace('  ·  ', ', ')}" for r in rows[:SAID])
    more = answer.table.height - min(SAID, len(rows))
    return finish(
        chart,
        title=title,
        subtitle=[*subtitle, *limits(answer)],
        description=f"{title}, {whole:,} in all. {said}." + (f" And {counted(more, 'more row')}." if more > 0 else ""),
        headed=headed,
        width=width,
    )
