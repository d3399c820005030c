"""How the predicted risk did on later jobs: predicted beside seen, by tenths of risk."""

from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.improve.recheck import RecheckPlan
from rqa.plots.pictures import draws
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import percent

TITLE = "Does the predicted risk hold?"
UNTRIED = "There were too few matured jobs and come-backs to try a predicted risk on."


@draws(RecheckPlan, title=lambda _: TITLE)
def plot_recheck(answer: RecheckPlan, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A dot with limits a tenth of the jobs, on the line on which predicted and seen are the same."""
    from rqa.stats import proportion_interval

    tenths = answer.tenths
    if tenths is None:
        return nothing(title=TITLE, why=said_of(answer, UNTRIED), headed=headed, width=width)
    seen = proportion_interval(successes=tenths["returned"].to_numpy(), trials=tenths["jobs"].to_numpy())
    rows = [
        {
            "predicted": r["predicted"], "seen": r["seen"], "low": float(low), "high": float(high),
            "said": f"{percent(r['predicted'])} predicted, {percent(r['seen'])} of {r['jobs']:,} seen",
        }
        for r, low, high in zip(tenths.iter_rows(named=True), seen.low, seen.high, strict=True)
    ]
    top = max(max(r["predicted"], r["high"]) for r in rows)
    ends = [{"predicted": x, "seen": x, "said": "predicted = seen"} for x in (0.0, top)]
    x = alt.X("predicted:Q", title="predicted share back", axis=alt.Axis(format="%"), scale=alt.Scale(domain=[0, top]))
    y = alt.Y("seen:Q", title="share seen to come back", axis=alt.Axis(format="%"), scale=alt.Scale(domain=[0, top]))
    tips = [alt.Tooltip("said:N", title="tenth of the jobs")]
    base = alt.Chart(Data(values=rows))
    layers = alt.layer(
        alt.Chart(Data(values=ends)).mark_line(style="rqa-centre").encode(x=x, y=y),
        base.mark_rule(style="rqa-interval").encode(x=x, y=alt.Y("low:Q", title=None), y2="high:Q", tooltip=tips),
        base.mark_point(style="rqa-dot", filled=True).encode(x=x, y=y, tooltip=tips),
    )
    said = "; ".join(r["said"] for r in rows)
    scores = "" if answer.brier is None else "mean squared error {:.4f}, base rate {:.4f}".format(*answer.brier)
    return finish(
        layers, title=TITLE, subtitle=["dot = a tenth of later jobs, line = seen as predicted", scores],
        description=f"{TITLE} {said}.", headed=headed, width=width,
    )
