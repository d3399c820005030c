"""Follow-up, recurrences, findings and cohorts against a slow row loop, on depots full of ties and overlaps."""

from collections import Counter
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.core.follow_up_counts import followed_by
from rqa.measures.run import counts
from rqa.stats import kaplan_meier, mean_cumulative_function
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.comebacks import by_hand_returns
from tests.measures.small_depots import START, SUBSYSTEMS, UNITS, diagnostics, jobs, procedures, steps

FEW = settings(
    max_examples=examples(15), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
JOB_LEVEL = ("month", "site", "model", "procedure", "technician", "billing")
as_ofs = st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d))
uptos = st.sampled_from((0, 3, 40, 400))
maybe = st.sampled_from


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(maybe(names), unique=True, max_size=2).map(tuple)


@st.composite
def deep_tables(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Small depots with parts, tests that cover something, and units that leave service, also before their last job."""
    retired = draw(st.dictionaries(maybe(UNITS), st.integers(0, 110), max_size=2))
    parts = [
        completed("parts", {"job_id": f"J{job}", "line": line, "part_no": draw(maybe(("P1", "P2"))),
                            "lot": draw(maybe((None, "L1", "L2")))})
        for job in range(draw(st.integers(0, 10))) for line in range(draw(st.integers(0, 2)))
    ]
    return {
        "jobs": draw(jobs()), "steps": draw(steps()), "diagnostics": draw(diagnostics()),
        "procedures": draw(procedures()), "parts": parts,
        "tests": [{"test": t, "subsystem": draw(maybe(SUBSYSTEMS))} for t in draw(st.sets(maybe(("charge", "touch"))))],
        "retirements": [
            completed("retirements", {"unit_id": unit, "retired_at": START + timedelta(days=day)})
            for unit, day in retired.items()
        ],
    }


def rows_of(table: pl.DataFrame, *, counted: int = 1) -> Counter[Any]:
    for name in table.columns[-counted:]:
        assert table.schema[name] == pl.Int64
    return Counter({tuple(r[:-1]): r[-1] for r in table.iter_rows()})


@FEW
@given(data=deep_tables(), as_of=as_ofs, by=groups(*JOB_LEVEL), window=maybe((0, 1, 30, 90)))
def test_units_that_left_service_within_the_window(
    data: dict[str, Any], as_of: date, by: tuple[str, ...], window: int
) -> None:
    values = {"as_of": as_of, "disposition": "repaired", "window": window}
    with depot_of(data) as depot:
        table = counts(depot._store, "left_service", by=by, values=values)
    found = {tuple(r[: len(by)]): tuple(r[len(by) :]) for r in table.iter_rows() if by or r != (0, 0, 0)}
    assert found == by_hand_returns.left_service(data, by, as_of=as_of, window=window)


@FEW
@given(
    data=deep_tables(), as_of=as_ofs, upto=uptos, by=groups(*JOB_LEVEL),
    more=maybe((("step", "bench"), ("phase",), ("test", "station"), ("part_no", "lot"), ("model", "lot"))),
)
def test_follow_up_and_months(
    data: dict[str, Any], as_of: date, upto: int, by: tuple[str, ...], more: tuple[str, ...]
) -> None:
    how = {"as_of": as_of, "disposition": "repaired"}
    log = "test" if "test" in more else "part" if "lot" in more else "step"
    with depot_of(data) as depot:
        found = counts(depot._store, "follow_up", by=by, values={**how, "upto": upto})
        measure, beside = followed_by(f"follow_up_by_{log}")
        by_log = counts(depot._store, measure, by=more, values={**how, "upto": upto, **beside})
        months = counts(depot._store, "service_months", by=by, values=how)
        if log == "part":
            by_part = counts(depot._store, "service_months_by_part", by=more, values=how)
            assert rows_of(by_part) == by_hand_returns.service_months(data, more, as_of=as_of)
    assert rows_of(found) == by_hand_returns.follow_up(data, by, as_of=as_of, upto=upto)
    assert rows_of(by_log) == by_hand_returns.follow_up(data, more, as_of=as_of, upto=upto)
    assert rows_of(months) == by_hand_returns.service_months(data, by, as_of=as_of)


@FEW
@given(data=deep_tables(), as_of=as_ofs, upto=uptos, by=groups(*JOB_LEVEL))
def test_units_and_their_returns(data: dict[str, Any], as_of: date, upto: int, by: tuple[str, ...]) -> None:
    values = {"as_of": as_of, "disposition": "repaired", "upto": upto}
    expected = by_hand_returns.units(data, by, as_of=as_of, upto=upto)
    with depot_of(data) as depot:
        found = counts(depot._store, "recurrence_counts", by=by, values=values)
        each = counts(depot._store, "returns_per_unit", by=by, values=values)
        most = counts(depot._store, "most_returns", by=by, values={**values, "min_cases": 1, "limit": 2})
    assert rows_of(found) == by_hand_returns.recurrence_counts(data, by, as_of=as_of, upto=upto)
    assert rows_of(each) == Counter((*key, len(ages), end) for key, end, ages in expected.values())
    worst = sorted(((-len(a), end, unit) for unit, (_, end, a) in expected.items() if a))[:2]
    assert [(-r["returns"], r["end_day"], r["unit_id"]) for r in most.iter_rows(named=True)] == worst


@FEW
@given(data=deep_tables(), as_of=as_ofs, window=maybe((0, 5, 30)), by=groups(*JOB_LEVEL))
def test_findings_and_marks(data: dict[str, Any], as_of: date, window: int, by: tuple[str, ...]) -> None:
    values = {"as_of": as_of, "disposition": "repaired", "window": window}
    with depot_of(data) as depot:
        found = counts(depot._store, "comeback_findings", by=by, values=values)
        marked = counts(depot._store, "comeback_marks", by=by, values=values)
    assert rows_of(found) == by_hand_returns.findings(data, by, as_of=as_of, window=window)
    expected = by_hand_returns.marks(data, by, as_of=as_of, window=window)
    assert {tuple(r[: len(by)]): tuple(r[len(by) :]) for r in marked.iter_rows()} == (
        expected if by else {(): expected.get((), (0,) * 7)}
    )


@FEW
@given(data=deep_tables(), as_of=as_ofs, upto=maybe((0, 7, 60)), by=groups("model", "site", "month"))
def test_curves_and_recurrences_from_rows(data: dict[str, Any], as_of: date, upto: int, by: tuple[str, ...]) -> None:
    """The answers equal the estimators on rows, one job or one unit at a time."""
    with depot_of(data, as_of) as depot:
        curve = depot.returns.curve(by=by, upto=upto).table
        mean = depot.returns.recurrences(by=by, upto=upto).table
    times = Counter(job["unit_id"] for job in data["jobs"] if job["disposition"] != "cancelled")
    if max(times.values(), default=0) < 2:
        # No come-back could be seen: what would be shares is not known.
        for table, names in ((curve, ("share", "se", "low", "high")), (mean, ("mcf", "se", "low", "high"))):
            assert all(table[name].null_count() == table.height for name in names)
        return
    ends: dict[Any, list[tuple[int, bool]]] = {}
    for job, gap, kind, _ in by_hand_returns.index_jobs(data, as_of):
        day, outcome = by_hand_returns.end_of_follow_up(data, job, gap, kind, as_of)
        ends.setdefault(by_hand_returns.job_groups(job, by), []).append((day, outcome not in ("retired", "followed")))
    seen = set()
    for key, own in _by_key(curve, by):
        seen.add(key)
        day, back = np.array(ends[key]).T
        r = kaplan_meier(day=day, returned=back, censored=1 - back).on_days(own["day"])
        assert own["day"].to_list() == list(range(min(upto, int(day.max())) + 1))
        assert own["at_risk"].to_list() == [int((day >= d).sum()) for d in own["day"]]
        assert own["returned"].to_list() == [int(((day == d) & (back == 1)).sum()) for d in own["day"]]
        for name in ("share", "se", "low", "high"):
            assert own[name].to_numpy() == pytest.approx(getattr(r, name), abs=1e-6)  # six digits are kept
    assert seen == set(ends)

    units: dict[Any, dict[str, tuple[int, list[int]]]] = {}
    for unit, (key, end, ages) in by_hand_returns.units(data, by, as_of=as_of, upto=upto).items():
        units.setdefault(key, {})[unit] = (end, ages)
    for key, own in _by_key(mean, by):
        theirs = units[key]
        pairs = [(u, a) for u, (_, ages) in theirs.items() for a in ages]
        m = mean_cumulative_function(
            unit=[u for u, _ in pairs], time=[a for _, a in pairs], end={u: e for u, (e, _) in theirs.items()}
        ).on_days(own["day"])
        assert own["at_risk"].to_list() == m.at_risk.tolist()
        for name in ("mcf", "se", "low", "high"):
            found = own[name].fill_null(float("nan")).to_numpy()
            assert found == pytest.approx(getattr(m, name), abs=1e-6, nan_ok=True)


def _by_key(table: pl.DataFrame, by: tuple[str, ...]) -> list[tuple[Any, pl.DataFrame]]:
    if not by:
        return [((), table)] if table.height else []
    return [(tuple(own.row(0, named=True)[b] for b in by), own) for own in table.partition_by(by, maintain_order=True)]
