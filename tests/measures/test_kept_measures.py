"""What is counted from kept tables is what the rows give, for every measure that can do both, however grouped."""

from datetime import timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.core.kept_counts import KEPT, parameters
from rqa.depot import Depot
from rqa.measures.run import counts, groupings, sql_files
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.small_depots import UNITS, maybe, times
from tests.measures.test_files import VALUES
from tests.measures.tests.test_diagnostics_against_rows import runs_and_work

BOTH = [name.removesuffix(KEPT) for name in sorted(sql_files()) if name.endswith(KEPT)]
MORE: dict[str, tuple[dict[str, Any], ...]] = {
    "checks_by_job": ({"log": "steps"}, {"log": "diagnostics"}),
    "limit_values": ({"cuts": 2}, {"cuts": 2, "side": "lower"}),
}
"""Values with which a measure is asked, where those that all share are not enough."""


@st.composite
def depots(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Runs and work that lie close together, with values, parts, costs, retirements and refused runs."""
    made = draw(runs_and_work())
    for run in made["diagnostics"]:
        run["value"] = draw(maybe((None, 1.0, 1.5, 2.0, 2.25, 9.0)))
        run["unit"] = draw(maybe(("V", "V", None)))
        run["lower_limit"], run["upper_limit"] = draw(maybe(((None, None), (1.5, 2.0), (None, 2.0), (1.2, None))))
    for job in made["jobs"]:
        for cost in ("labour_minutes", "parts_cost", "freight_cost"):
            job[cost] = draw(maybe((None, 1.5, 30.0)))
        job["billing"] = draw(maybe((job["billing"], "goodwill")))
    made["parts"] = [
        {"job_id": f"J{draw(st.integers(0, 9))}", "line": n, "part_no": draw(maybe(("P1", "P2"))),
         "quantity": draw(maybe((None, 1.0, 2.0))), "unit_cost": draw(maybe((None, 2.5)))}
        for n in range(draw(st.integers(0, 6)))
    ]
    retired = [(unit, draw(times(120))) for unit in sorted(draw(st.sets(maybe(UNITS))))]
    made["retirements"] = [{"unit_id": u, "retired_at": at, "retired_on": at.date()} for u, at in retired]
    made["refused"] = [
        {"table_name": "diagnostics", "job_id": f"J{n}"} for n in sorted(draw(st.sets(st.integers(0, 9), max_size=1)))
    ]
    return made


def told(depot: Depot, measure: str, by: tuple[str, ...], values: dict[str, Any]) -> list[str]:
    asked = {name: value for name, value in values.items() if name in parameters(measure)}
    return sorted(map(repr, counts(depot._store, measure, by=by, values=asked).rows()))


@settings(
    max_examples=examples(12), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=depots(), window=maybe((0, 1, 5, 30)), later=st.integers(0, 40), asked=st.data())
def test_kept_is_counted(data: Any, window: int, later: int, asked: st.DataObject) -> None:
    with depot_of(data) as depot:
        day = depot._snapshot.day + timedelta(days=later)
        shared = VALUES | {"as_of": day, "window": window, "usual": 0.6, "min_cases": 2}
        for measure in BOTH:
            names = list(groupings(f"{measure}{KEPT}"))
            by = tuple(asked.draw(st.lists(maybe(names), unique=True, max_size=3))) if names else ()
            for more in MORE.get(measure, ({},)):
                found = told(depot, f"{measure}{KEPT}", by, shared | more)
                assert found == told(depot, measure, by, shared | more), (measure, by)


def test_kept_is_grouped_by_less_or_the_same() -> None:
    assert BOTH
    for measure in BOTH:
        assert set(groupings(f"{measure}{KEPT}")) <= set(groupings(measure)), measure
