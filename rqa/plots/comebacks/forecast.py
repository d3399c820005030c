"""Come-backs of the next weeks: a dot and an interval on each row, a panel a horizon."""

from typing import Any

import altair as alt

from rqa.answers.comebacks.forecast import Forecast
from rqa.errors import RequestError
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import counted, spoken

TITLE = "How many of the units out now will come back?"
MOST = 40
ROW = 20


@draws(Forecast, title=lambda _: TITLE)
def plot_forecast(answer: Forecast, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row a group; the horizons below each other."""
    by = by_of(answer)
    rows = [
        {
            "group": " · ".join(spoken(r[b]) for b in by) or "all units", "weeks": counted(r["weeks"], "week"),
            "place": r["weeks"], "expected": r["expected"], "low": r["low"], "high": r["high"],
            "said": f"{r['expected']:.1f} of {r['out']:,} out, {r['low']:.0f} to {r['high']:.0f}",
        }
        for r in answer.table.iter_rows(named=True)
    ]
    if len(rows) > MOST:
        raise RequestError(f"{counted(len(rows), 'row')} are more than a picture holds: see .table, or narrow by=.")
    base = alt.Chart(Data(values=rows))
    y = alt.Y("group:N", title=None, sort=None)
    tips = [alt.Tooltip("group:N"), alt.Tooltip("weeks:N", title="within"), alt.Tooltip("said:N", title="expected")]
    layers = alt.layer(
        base.mark_rule(style="rqa-interval").encode(
            x=alt.X("low:Q", title="come-backs", axis=alt.Axis(tickMinStep=1)), x2="high:Q", y=y, tooltip=tips
        ),
        base.mark_point(style="rqa-dot", filled=True).encode(x="expected:Q", y=y, tooltip=tips),
    ).properties(width=WIDTH, height=alt.Step(ROW))
    order = [counted(w, "week") for w in sorted({r["place"] for r in rows})]
    header = alt.Header(labelOrient="top", labelAngle=0, labelAlign="left")
    said = "; ".join(f"{r['group']} within {r['weeks']}: {r['said']}" for r in rows[:12])
    return finish(
        layers.facet(row=alt.Row("weeks:N", title=None, sort=order, header=header)),
        title=TITLE,
        subtitle=["dot = expected, line = between which numbers the count will lie", *limits(answer)],
        description=f"{TITLE} {said}.",
        headed=headed,
        width=None,
    )
