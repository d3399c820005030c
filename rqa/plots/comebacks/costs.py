"""Cost of come-backs as bars with the range it comes from: costliest first, or month by month."""

from typing import Any

import altair as alt

from rqa.answers.comebacks.costs import ComebackCosts
from rqa.answers.core.needs import said_of
from rqa.plots.groups import ROW
from rqa.plots.period_axes import PANEL_HEIGHT, ground
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import NAMES, counted, fixed, month_key, month_name, percent, spoken

MOST = 15
"""Rows drawn; the table holds all."""
SAID = 10


@draws(ComebackCosts)
def plot_costs(
    answer: ComebackCosts,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """A bar a group for its cost and a line for its interval; by month alone, the months in order.

    A group without a known cost has no bar; where no group has one there is nothing to draw.
    """
    by, currency = by_of(answer), str(answer.settings["currency"])
    over_time = by == ("month",)
    table = answer.table.sort("month") if over_time else answer.table.head(limit or MOST)
    level = float(str(answer.settings["level"])) * 100
    names = " and ".join(NAMES.get(b, b) for b in by)
    title = f"Cost of come-backs, by {names}" if names else "Cost of come-backs"
    if table["cost"].null_count() == table.height:
        why = said_of(answer, "No come-back of these has a known cost; the notes say what is missing.")
        return nothing(title=title, why=why, headed=headed, width=width)
    rows = [
        {
            "row": place,
            "label": " · ".join(_named(b, r[b]) for b in by) or "all",
            "month": month_key(r["month"]) if over_time else "",
            "cost": r["cost"], "low": r["cost_low"], "high": r["cost_high"],
            "beside": f"{money(r['cost'], currency)}  ·  together {percent(r['cumulative'])}",
            "said": _with_limits(r["cost"], r["cost_low"], r["cost_high"], currency),
            "number": f"{r['known']:,} of {counted(r['comebacks'], 'come-back')} with a known cost",
            "each": _with_limits(r["mean"], r["low"], r["high"], currency),
        }
        for place, r in enumerate(table.iter_rows(named=True))
    ]
    subtitle = [
        f"bar = cost of the come-backs whose cost is known{f', in {currency}' if currency else ''}",
        f"line = {level:g} % interval of what such a {'month' if over_time else 'group'} costs in the long run",
    ]
    if not over_time and answer.table.height > len(rows):
        subtitle.append(f"the first {len(rows)} of {counted(answer.table.height, 'row')}")
    chart = _months(rows) if over_time else _pareto(rows, names, currency)
    said = "; ".join(f"{r['label']}: {r['said']}, {r['number']}" for r in (rows[-SAID:] if over_time else rows[:SAID]))
    more = answer.table.height - min(SAID, len(rows))
    whole = float(answer.table["cost"].sum() or 0)
    return finish(
        chart,
        title=title,
        subtitle=[*subtitle, *limits(answer)],
        description=f"{title}, {money(whole, currency)} in all. {said}." + (f" And {more:,} more." if more > 0 else ""),
        headed=headed,
        width=width,
    )


def money(value: float | None, currency: str = "") -> str:
    """An amount as said: without hundredths, with thousands set apart; "no data" when there is none."""
    if value is None:
        return "no data"
    return f"{fixed(value, 0)}\u00a0{currency}".rstrip("\u00a0")


def _with_limits(value: float | None, low: float | None, high: float | None, currency: str) -> str:
    """An amount with its limits, as far as there are any."""
    said = money(value, currency)
    return said if value is None or low is None or high is None else f"{said} ({money(low)} to {money(high)})"


def _named(name: str, value: object) -> str:
    if name == "class":
        return {"unknown": "class unknown"}.get(str(value), spoken(value))
    return month_name(value) if name in ("month", "week") else spoken(value)


def _tips(names: str) -> list[Any]:
    pairs = (("label", names or "all"), ("said", "cost"), ("number", "behind it"), ("each", "one costs"))
    return [alt.Tooltip(f"{k}:N", title=t) for k, t in pairs]


def _pareto(rows: list[dict[str, Any]], names: str, currency: str) -> Any:
    y = alt.Y("row:O", axis=None, sort="ascending")
    base = alt.Chart()

    def x(field: str) -> Any:
        return alt.X(
            f"{field}:Q", title=currency or None, scale=alt.Scale(zero=True, nice=False),
            axis=alt.Axis(format=",.0f", tickCount=5, domain=False),
        )

    return alt.layer(
        base.mark_bar(style="rqa-size", height=7, yOffset=9).encode(x=x("cost"), y=y, tooltip=_tips(names)),
        base.mark_rule(style="rqa-interval", yOffset=9).encode(
            x=x("low"), x2=alt.X2("high:Q"), y=y, tooltip=_tips(names)
        ),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 190)")).encode(
            text=alt.Text("label:N"), x=alt.XValue(0), y=y, tooltip=_tips(names)
        ),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
        data=Data(values=rows),
    ).properties(height=alt.Step(ROW))


def _months(rows: list[dict[str, Any]]) -> Any:
    drawn = [r for r in rows if r["cost"] is not None]
    under = ground(
        [r["month"] for r in rows], [0.0], [r["high"] for r in drawn], from_zero=True, share=False, bars=False
    )
    base = alt.Chart().encode(x=under.x(), tooltip=_tips("month"))
    return alt.layer(
        base.mark_bar(style="rqa-size", width={"band": 0.55}).encode(y=under.y("cost")),
        base.mark_rule(style="rqa-interval").encode(y=under.y("low"), y2=alt.Y2("high:Q")),
        data=Data(values=drawn),
    ).properties(height=PANEL_HEIGHT + 50)
