"""Limits, measured values and stations through the depot: counted in the head, and with effects that were put in."""

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.answers.tests.drift import TWO
from rqa.answers.tests.reading_shape import Values, bands, histogram, step_of
from rqa.answers.tests.station_contrasts import StationDifferences, StationReadings, apart, held_apart, level, slope
from rqa.errors import RequestError
from rqa.plots import plot
from tests.depots import depot_of
from tests.examples import examples

START = datetime(2026, 1, 5, 8)
LATER = "2026-12-31"


def job(number: int, day: int = 0, **more: Any) -> dict[str, Any]:
    opened = START + timedelta(days=day)
    return {"job_id": f"J{number}", "unit_id": f"U{number}", "opened_at": opened,
            "closed_at": opened + timedelta(hours=8), **more}


def run(number: int, value: float | None, outcome: str = "pass", count: int = 1, **more: Any) -> dict[str, Any]:
    return {"job_id": f"J{number}", "test": "charge", "run": count, "outcome": outcome, "value": value, "unit": "A",
            "run_at": START + timedelta(hours=count), "lower_limit": 1.0, "upper_limit": 2.0, "station": "S1",
            **more}


def six_jobs() -> dict[str, Any]:
    """One escape at 1.9, two sound at 1.2 and 1.5, one mended (2.3), one retested (2.1), one back without a finding."""
    jobs = [job(n) for n in range(1, 7)]
    jobs += [job(n, 20, unit_id=f"U{u}", found=found) for n, u, found in ((7, 1, "battery"), (8, 6, None))]
    runs = [run(1, 1.9), run(2, 1.2), run(3, 1.5), run(4, 2.3, "fail"), run(4, 1.6, count=3), run(5, 2.1, "fail"),
            run(5, 1.4, count=2), run(6, 1.8)]
    work = [{"job_id": "J4", "step": "refit", "started_at": START + timedelta(hours=2),
             "ended_at": START + timedelta(hours=2)}]
    return {"jobs": jobs, "diagnostics": runs, "steps": work, "tests": [{"test": "charge", "subsystem": "battery"}]}


def test_what_other_limits_would_have_done() -> None:
    with depot_of(six_jobs(), LATER) as depot:
        r = depot.tests.limits("charge", side="upper", window=30)
    summed = r.tests.row(0, named=True)
    counted = {name: summed[name] for name in ("escaped", "mended", "sound", "retested", "unknown", "present_limit")}
    assert counted == {"escaped": 1, "mended": 1, "sound": 2, "retested": 1, "unknown": 1, "present_limit": 2.0}
    # Faulty 2.3 and 1.9 against sound 2.1, 1.5 and 1.2: further out in 3 + 2 of 6 pairs.
    assert summed["area"] == pytest.approx(5 / 6, abs=1e-6)
    # Of those that passed, the escape at 1.9 lies further out than both sound ones.
    assert summed["area_passed"] == 1
    rows = {row["limit"]: row for row in r.table.iter_rows(named=True)}
    assert list(rows) == [2.3, 2.1, 1.9, 1.8, 1.5, 1.2]
    now = rows[1.9]
    assert now["at_present"]
    assert r.table["at_present"].sum() == 1
    assert (now["caught"], now["missed"], now["held"], now["passed"]) == (1, 1, 1, 2)
    assert (now["escapes_caught"], now["extra_held"], now["spared"], now["let_through"]) == (0, 0, 0, 0)
    tighter, looser = rows[1.2], rows[2.3]
    assert (tighter["escapes_caught"], tighter["extra_held"]) == (1, 1)
    assert (looser["spared"], looser["let_through"]) == (1, 1)
    assert any("too little to choose" in note for note in r.notes)


def test_sides_without_a_limit_are_left_out_unless_asked_for() -> None:
    tables = six_jobs()
    for one in tables["diagnostics"]:
        one["lower_limit"] = None
    with depot_of(tables, LATER) as depot:
        assert depot.tests.limits(window=90).tests["side"].to_list() == ["upper"]
        below = depot.tests.limits(side="lower", window=90)
        assert below.tests["present_limit"].to_list() == [None]
        assert not below.table["at_present"].any()
        with pytest.raises(RequestError, match="side is one of lower, upper"):
            depot.tests.limits(side="left")
        with pytest.raises(RequestError, match="there is no test 'x'"):
            depot.tests.limits("x")
        with pytest.raises(RequestError, match="test takes a test's name"):
            depot.tests.limits(5)  # type: ignore[arg-type]
        with pytest.raises(RequestError, match="give the test as test="):
            depot.tests.limits(where={"test": "charge"})


def test_a_job_not_yet_mature_decides_no_limit() -> None:
    with depot_of(six_jobs(), "2026-01-31") as depot:
        r = depot.tests.limits("charge", window=30)
        assert (r.table.height, r.tests.height) == (0, 0)
        assert r.notes[-1].startswith("No curve: it takes matured jobs")


def readings_depot(values: list[float | None], **more: Any) -> dict[str, Any]:
    jobs = [job(n, n % 200) for n in range(len(values))]
    runs = [run(n, v, run_at=START + timedelta(days=n % 200), **more) for n, v in enumerate(values)]
    return {"jobs": jobs, "diagnostics": runs}


def test_figures_of_measured_values() -> None:
    with depot_of(readings_depot([1.1, 1.2, 1.2, 1.3, 2.4, None]), LATER) as depot:
        r = depot.tests.readings(gauge_sigma=0.1)
    row = r.table.row(0, named=True)
    assert (row["readings"], row["missing"], row["outside"], row["median"]) == (5, 1, 1, 1.2)
    assert (row["p25"], row["p75"], row["minimum"], row["maximum"]) == (1.2, 1.3, 1.1, 2.4)
    assert row["mean"] == pytest.approx(np.mean([1.1, 1.2, 1.2, 1.3, 2.4]))
    assert row["sigma"] == pytest.approx(np.std([1.1, 1.2, 1.2, 1.3, 2.4], ddof=1), abs=1e-6)
    # 1.645 x 0.1 inside the limits of 1 and 2: 1.1 lies in the band.
    assert row["guard_lower"] == pytest.approx(1.164485, abs=1e-6)
    assert row["in_band"] == 1
    assert any("1 run of measured tests has no value" in note for note in r.notes)
    assert r.histogram is not None
    assert r.histogram["readings"].sum() == 5


@pytest.mark.parametrize("limits", [(None, None), (None, 2.0), (1.0, None)])
def test_limits_on_one_side_or_none(limits: tuple[float | None, float | None]) -> None:
    lower, upper = limits
    with depot_of(readings_depot([0.5, 1.5, 2.5], lower_limit=lower, upper_limit=upper), LATER) as depot:
        r = depot.tests.readings(gauge_sigma={"charge": 0.1})
    row = r.table.row(0, named=True)
    assert row["outside"] == (None if limits == (None, None) else 1)
    assert (row["guard_lower"] is None, row["guard_upper"] is None) == (lower is None, upper is None)
    assert any("No limit is known of charge" in note for note in r.notes) == (limits == (None, None))
    assert set(r.bands["side"]) == {s for s, v in (("lower", lower), ("upper", upper)) if v is not None}


def test_constant_values_one_value_and_bands_that_meet() -> None:
    with depot_of(readings_depot([1.5] * 4), LATER) as depot:
        r = depot.tests.readings(gauge_sigma=0.4)
    row = r.table.row(0, named=True)
    assert (row["sigma"], row["guard_lower"], row["in_band"]) == (0.0, None, None)
    assert any("leave nothing between the limits" in note for note in r.notes)
    assert r.stated == ()
    with depot_of(readings_depot([1.5]), LATER) as depot:
        assert depot.tests.readings().table["sigma"].to_list() == [None]
    with depot_of(readings_depot([None, None]), LATER) as depot:
        empty = depot.tests.readings()
        assert empty.table.height == 0
        assert any("measured nothing" in note for note in empty.notes)


def test_values_piled_up_inside_a_limit_are_found_and_smooth_ones_are_not() -> None:
    rng = np.random.default_rng(5)
    smooth = [float(v) for v in np.round(rng.normal(1.7, 0.15, 600), 2)]
    nudged = [v if v <= 2.0 else 2.0 for v in smooth]
    with depot_of(readings_depot(smooth), LATER) as depot:
        assert depot.tests.readings().findings == ()
    with depot_of(readings_depot([*nudged, *[2.0] * 20]), LATER) as depot:
        r = depot.tests.readings()
    assert [(f.kind, dict(f.scope)) for f in r.findings] == [
        ("values piled up inside the upper limit", {"test": "charge"})
    ]
    assert {f.kind for f in r.stated} == {f"values piled up inside the {s} limit" for s in ("lower", "upper")}


def test_a_step_of_writing_is_found_and_bands_are_whole_steps() -> None:
    assert step_of(np.array([1.0, 1.05, 1.2])) == pytest.approx(0.05)
    assert step_of(np.array([3.0])) == 1
    v = Values(np.array([1.6, 1.7, 1.8, 1.9, 2.0]), np.array([5, 5, 5, 3, 2]))
    b = bands(v, 2.0, "upper")
    assert (b.width, b.nearest, b.second, b.third) == (pytest.approx(0.1), 2, 3, 5)
    start, end, count = histogram(v, 1.0, 2.0)
    assert count.sum() == 20
    assert start[0] <= 1.0
    assert end[-1] >= 2.0
    assert np.allclose(end - start, end[0] - start[0])


def bench(seed: int, *, drift: float = 0.0, shift: float = 0.0, stations: int = 3, months: int = 12, each: int = 12
          ) -> dict[str, Any]:
    """Stations with comparable work; S2 drifts by so many sigma a month and reads higher by so many."""
    rng = np.random.default_rng(seed)
    jobs, runs, number = [], [], 0
    for month in range(months):
        common = rng.normal(0, 0.5)
        for s in range(stations):
            for _ in range(each):
                number += 1
                off = (shift + drift * month) * (s == 1)
                value = round(float(rng.normal(common + off, 1.0)), 3)
                jobs.append(job(number, 30 * month, model=f"M{number % 2}"))
                runs.append(run(number, value, run_at=START + timedelta(days=30 * month), station=f"S{s + 1}"))
    return {"jobs": jobs, "diagnostics": runs}


def test_a_station_that_drifts_is_found_and_the_others_are_not() -> None:
    with depot_of(bench(1, drift=0.25), LATER) as depot:
        r = depot.tests.drift()
    assert {(f.scope["station"], f.kind) for f in r.findings} == {
        ("S2", "station drift"), ("S2", "station difference"),
    }
    row = r.table.filter(pl.col("station") == "S2").row(0, named=True)
    assert row["trend_low"] < 0.25 < row["trend_high"]
    assert row["verdict"] == "drifts and stands apart"
    assert row["signals"] > 0
    # S1 and S3, left to be held against each other, are one comparison; each comparison is a trend and a level.
    assert len(r.stated) == 4
    assert sorted(r.table["verdict"]) == ["drifts and stands apart", "not distinguishable", "see the other station"]
    assert {f.caution for f in r.stated if f.scope["station"] != "S2"} == {TWO}
    assert all(f.worse for f in r.stated)


def made_work(seed: int, periods: int = 8, each: int = 12) -> StationReadings:
    """Three stations that are alike, in periods that move by half a deviation, all stations together."""
    rng = np.random.default_rng(seed)
    station, period = (a.ravel() for a in np.meshgrid(np.arange(3), np.arange(periods), indexing="ij"))
    read = rng.normal(size=(station.size, each)) + rng.normal(0, 0.5, periods)[period][:, None]
    return StationReadings(
        periods, station, period, np.zeros_like(station), np.full(station.size, each), read.sum(axis=1),
        (read**2).sum(axis=1),
    )


def test_what_moves_all_stations_moves_none_against_the_others() -> None:
    """The share of p below 5 % is at most 5 %: 80 depots of 6 statements that hang together in threes, so that 24 are
    due; more than 44 would be 3 standard errors of 160 independent threes."""
    p = []
    for seed in range(80):
        work, trusted = made_work(seed), [0, 1, 2]
        while (out := held_apart(work, trusted, 0.95)) is not None:
            trusted.remove(out)
        seen = [apart(work, s, trusted) for s in range(3)]
        p += [f.p_value for x in seen for f in (level(x, 0.95), slope(x, 0.95))]
    assert sum(one < 0.05 for one in p) <= 44


def test_a_level_and_a_slope_equal_weighted_least_squares() -> None:
    """Another library's fit with the same weights; where the periods scatter more than the readings, its errors too."""
    rng = np.random.default_rng(2)
    x, variance = rng.normal(0, 3, 12) + 0.4 * np.arange(12), rng.uniform(0.5, 2.0, 12)
    seen = StationDifferences(x, variance, 1.0 / variance)
    line = sm.WLS(x, sm.add_constant(np.arange(12.0)), weights=1.0 / variance).fit()
    flat = sm.WLS(x, np.ones(12), weights=1.0 / variance).fit()
    found, mean = slope(seen, 0.95), level(seen, 0.95)
    low, high = line.conf_int()[1]
    assert (found.value, found.low, found.high) == pytest.approx((line.params[1], low, high), rel=1e-9)
    assert found.p_value == pytest.approx(line.pvalues[1], rel=1e-9)
    assert (mean.value, mean.p_value) == pytest.approx((flat.params[0], flat.pvalues[0]), rel=1e-9)


def test_two_stations_are_one_comparison_and_one_has_its_own_course() -> None:
    with depot_of(bench(3, drift=0.3, stations=2), LATER) as depot:
        two = depot.tests.drift()
    assert {f.scope["station"] for f in two.stated} == {"S2"}
    assert any("two stations to hold against each other only" in note for note in two.notes)
    assert set(two.table["verdict"]) >= {"see the other station"}
    tables = bench(4, drift=0.5, stations=2)
    tables["diagnostics"] = [d for d in tables["diagnostics"] if d["station"] == "S2"]
    with depot_of(tables, LATER) as depot:
        one = depot.tests.drift()
    assert [f.kind for f in one.findings] == ["station drift"]
    assert "units or season" in one.stated[0].caution


def test_too_little_constant_and_unknown_work() -> None:
    with depot_of(bench(5, months=1, each=3), LATER) as depot:
        r = depot.tests.drift()
        assert set(r.table["verdict"]) == {"too little work to say"}
        assert r.stated == ()
        with pytest.raises(RequestError, match="period is one of month, week"):
            depot.tests.drift(period="day")
        with pytest.raises(RequestError, match="min_cases is a whole number"):
            depot.tests.drift(min_cases=1)
    tables = bench(6, months=5, each=4)
    for one in tables["diagnostics"]:
        one["value"] = 1.5
    with depot_of(tables, LATER) as depot:
        assert set(depot.tests.drift().table["verdict"]) == {"no scatter to judge by"}
    with depot_of({"jobs": [job(1)]}, LATER) as depot:
        assert depot.tests.drift().table.height == 0
        assert "nothing to compare" in depot.tests.drift().notes[-1]
        with pytest.raises(RequestError, match="there is no filter 'station'"):
            depot.tests.drift(where={"station": "S1"})


def test_the_as_of_day_is_respected() -> None:
    tables = bench(7)
    with depot_of(tables, "2026-03-01") as early, depot_of(tables, LATER) as late:
        assert early.tests.drift().table["periods"].max() == 2
        assert early.tests.readings().table["readings"][0] == 72 < late.tests.readings().table["readings"][0]


def test_a_baseline_freezes_the_charts() -> None:
    with depot_of(bench(8, drift=0.4), LATER) as depot:
        charts = depot.tests.drift(baseline=("2026-01", "2026-05")).charts
    assert charts is not None
    late = charts.filter((pl.col("station") == "S2") & (pl.col("period") >= pl.date(2026, 9, 1)))
    assert (late["ewma_signal"] != "").all()


@given(
    stations=st.integers(1, 3), months=st.integers(1, 5), each=st.integers(1, 14),
    kind=st.sampled_from(("varied", "constant", "apart")), least=st.sampled_from((2, 10)),
)
@settings(max_examples=examples(25), deadline=None)
def test_too_little_work_is_said_below_the_least_number_of_readings_alone(
    stations: int, months: int, each: int, kind: str, least: int
) -> None:
    """With enough readings the verdict names what is in the way: no scatter, no other station, too few periods."""
    tables = bench(7, stations=stations, months=months, each=each)
    for one in tables["diagnostics"]:
        if kind != "varied":
            one["value"] = 1.5 + (kind == "apart") * int(one["station"][1:])
    with depot_of(tables, LATER) as depot:
        r = depot.tests.drift(min_cases=least)
        assert plot(r).to_dict()["description"]
    for row in r.table.iter_rows(named=True):
        assert (row["verdict"] == "too little work to say") == (row["readings"] < least)
        if row["verdict"] == "no scatter to judge by":
            assert kind != "varied"
        if kind != "varied" and row["readings"] >= least:
            assert row["apart_p"] is None
            assert row["verdict"] in ("no scatter to judge by", "nothing to compare with", "too few periods to say")
