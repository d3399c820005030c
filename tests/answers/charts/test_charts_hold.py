"""Whatever is in a store, every chart of every measure can be asked for and drawn, and holds together."""

import random
from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from rqa.answers.charts.chart_series import CHARTED
from rqa.answers.charts.chart_types import TAKES
from rqa.errors import RequestError
from rqa.plots import plot
from tests.answers.charts.test_control_charts import rows
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.charts.test_charts_against_rows import measured_tables

GROUPS = {"comebacks": "step", "first_pass_yield": "bench"}
FEW = settings(
    max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@st.composite
def questions(draw: st.DrawFn) -> dict[str, Any]:
    measure = draw(st.sampled_from(sorted(CHARTED)))
    at = CHARTED[measure].at
    several = [(at,), ("site", at)] if at else [(), ("site",), ("model", "billing"), (GROUPS.get(measure, "site"),)]
    by = draw(st.sampled_from(several))
    return {
        "measure": measure, "by": by, "period": draw(st.sampled_from(["month", "week"])),
        "chart": draw(st.sampled_from(["auto", *TAKES[CHARTED[measure].kind]])),
        "months": draw(st.sampled_from([None, ("2025-03", "2026-03")])), "window": draw(st.sampled_from([0, 30])),
        "stages": draw(st.sampled_from([(), ("2025-03-03", "2026-03-02"), ("2025-02", "2026-03")])),
    }


@st.composite
def some_weeks(draw: st.DrawFn) -> dict[str, Any]:
    """A depot of regular work, with only some of its jobs, so that groups and weeks are empty here and there."""
    kept = random.Random(draw(st.integers(0, 99)))
    share, weeks = draw(st.sampled_from([0.1, 0.5, 1.0])), draw(st.sampled_from([3, 15, 40]))
    data = rows(weeks=weeks)
    names = {j["job_id"][:6] for j in data["jobs"] if kept.random() < share}
    return {t: [r for r in d if r.get("job_id", "")[:6] in names or t == "actions"] for t, d in data.items()}


@FEW
@given(data=st.one_of(measured_tables(), some_weeks(), some_weeks()), as_of=st.integers(0, 400), asked=questions())
def test_every_chart_holds_together(data: dict[str, Any], as_of: int, asked: dict[str, Any]) -> None:
    with depot_of(data, as_of=date(2026, 1, 28) + timedelta(days=as_of - 200)) as depot:
        try:
            r = depot.control_chart(**asked)
        except RequestError as refused:
            # Units that do not go together, stages without a point, an EWMA of one value: said, not crashed.
            event("refused: " + str(refused).split(";")[0].split(" (")[0][:60])
            return
        event("drawn: " + str(r.settings["chart"]).split(" (")[0])
        table = r.table
        assert table.columns[: len(asked["by"]) + 1] == [*asked["by"], "period"]
        for name, kind in (("size", pl.Int64), ("value", pl.Float64), ("upper", pl.Float64), ("mature", pl.Boolean)):
            assert table.schema[name] == kind
        keys = table.select(*asked["by"], "period")
        if r.settings["period"] != "come-back":
            assert keys.height == keys.unique().height
            assert table.filter(pl.col("size") == 0)["value"].drop_nulls().len() == 0
        assert keys.sort(*asked["by"], "period", maintain_order=True).equals(keys)
        drawn = table.drop_nulls(["lower", "upper", "centre"])
        assert (drawn["lower"] <= drawn["centre"] + 1e-9).all()
        assert (drawn["centre"] <= drawn["upper"] + 1e-9).all()
        assert drawn["mature"].all()
        loud = table.filter(pl.col("signal") != "")
        assert loud["mature"].all()
        assert loud["value"].null_count() == loud["centre"].null_count() == 0
        spec = plot(r).to_dict()
        assert spec["description"]
        assert "nan" not in spec["description"].lower()
