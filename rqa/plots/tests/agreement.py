"""Agreement by row: parts of a gauge study's variance as bars, kappas as dots with their limits."""

from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.tests.agreement import Agreement
from rqa.plots.groups import ROW
from rqa.plots.pictures import draws
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import counted, known, percent, spoken

COMPONENTS = ("repeatability", "reproducibility", "part")
WORDS = {"repeatability": "the gauge by itself", "reproducibility": "between appraisers", "part": "between units"}
LOWEST = -0.25
"""Kappas further below chance are cut here, and shown so."""
SAID = 16


@draws(Agreement)
def plot_agreement(answer: Agreement, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """One axis for both: a share of the variance, or agreement beyond chance; 1 is all of it."""
    title = "Whether measurements and judgements can be believed"
    rows = [row for r in answer.table.iter_rows(named=True) if (row := _row(r))]
    if not rows:
        return nothing(title=title, why=said_of(answer, "No study gives a figure."), headed=headed, width=width)
    for place, row in enumerate(rows):
        row["row"] = place
    scale = alt.Scale(domain=[LOWEST if any(r["dot"] for r in rows) else 0.0, 1.0], nice=False)
    base, y = alt.Chart(), alt.Y("row:O", axis=None, sort="ascending")

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=alt.Axis(tickCount=5, domain=False))

    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in (("label", "figure"), ("beside", "value"), ("more", "of"))]
    across = {"x": alt.XValue(0), "y": y}
    dots, bars = base.transform_filter("datum.dot"), base.transform_filter("!datum.dot")
    layers = [
        bars.mark_bar(style="rqa-size", height=9, yOffset=9).encode(
            x=x("zero"), x2=alt.X2("value:Q"), y=y, tooltip=tips
        ),
        dots.mark_rule(style="rqa-interval", yOffset=9).encode(x=x("low"), x2=alt.X2("high:Q"), y=y),
        dots.mark_point(style="rqa-dot", filled=True, yOffset=9).encode(x=x("value"), y=y, tooltip=tips),
        dots.mark_tick(style="rqa-tick", orient="vertical", size=15, yOffset=9).encode(x=x("zero"), y=y),
        base.transform_filter("datum.cut")
        .mark_point(style="rqa-cut", filled=True, angle=270, yOffset=9)
        .encode(x=x("low"), y=y),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 175)")).encode(
            text=alt.Text("label:N"), tooltip=tips, **across
        ),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
    ]
    level = float(str(answer.settings["level"])) * 100
    subtitle = ["bar = part of the variance of measured values (analysis of variance)",
                f"dot = kappa, line = {level:g} % interval; 1 = full agreement, tick at 0 = chance"]
    more = f" And {counted(len(rows) - SAID, 'more row')}." if len(rows) > SAID else ""
    said = "; ".join(f"{r['label']}: {r['beside']} ({r['more']})" for r in rows[:SAID])
    return finish(
        alt.layer(*layers, data=Data(values=rows), height=alt.Step(ROW)), title=title,
        subtitle=subtitle, description=f"{title}. {said}.{more}", headed=headed, width=width,
    )


def _row(r: dict[str, Any]) -> dict[str, Any] | None:
    label = f"{r['study']} · {spoken(r['figure']).replace(' the reference', ' reference')}"
    if r["kind"] == "values":
        if r["method"] != "anova" or r["figure"] not in COMPONENTS or not known(r["share"]):
            return None
        limits = f" ({r['low']:.3g} to {r['high']:.3g})" if known(r["low"]) and known(r["high"]) else ""
        return {
            "label": f"{r['study']} · {WORDS[r['figure']]}", "value": r["share"], "low": None, "high": None,
            "zero": 0.0, "dot": False, "cut": False, "beside": f"{percent(r['share'])} of variance",
            "more": f"{r['figure']}, sigma {r['value']:.3g}{limits}, {counted(r['cases'], 'unit')}",
        }
    if not known(r["value"]) or r["method"] == "share":
        return None
    return {
        "label": label, "value": max(r["value"], LOWEST), "low": max(r["low"], LOWEST) if known(r["low"]) else None,
        "high": r["high"] if known(r["high"]) else None, "zero": 0.0, "dot": True,
        "cut": known(r["low"]) and r["low"] < LOWEST,
        "beside": f"kappa {r['value']:.2f}  ·  {percent(r['share'])} agree",
        "more": f"{r['method']}, {r['low']:.2f} to {r['high']:.2f}, {counted(r['cases'], 'unit')}",
    }
