"""Control charts through the depot: each measure's points against pure charts of counts made by hand."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
import pytest

from rqa import spc
from rqa.answers.charts.chart_basis import ChartSettings
from rqa.answers.charts.chart_series import Series
from rqa.answers.charts.chart_types import make
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.depots import depot_of

SITES = ("Alder", "Birch")
START = datetime(2025, 1, 6)
WEEKS = 70
"""From a Monday on; some sixteen months."""


def rows(seed: int = 3, weeks: int = WEEKS) -> dict[str, list[dict[str, Any]]]:
    """Two jobs a day on working days: some come back after ten days, some steps fail, and readings are taken.

    From week 52 on a cable guide halves the failures of its step (ACT-1).
    """
    rng = np.random.default_rng(seed)
    jobs: list[dict[str, Any]] = []
    steps, tests = [], []
    for week in range(weeks):
        for place in range(10):
            closed = START + timedelta(days=7 * week + place // 2, hours=9 + place % 2)
            name = f"J{week:02}-{place}"
            site = SITES[place % 2]
            jobs.append({"job_id": name, "unit_id": name, "site": site, "opened_at": closed - timedelta(days=1),
                         "closed_at": closed, "labour_minutes": float(rng.integers(80, 120)),
                         "model": ("Marl-8", "Quern")[int(rng.random() < 0.4)], "billing": "paid"})
            if rng.random() < 0.12:
                again = closed + timedelta(days=10)
                jobs.append({"job_id": f"{name}/2", "unit_id": name, "site": site, "opened_at": again,
                             "closed_at": again, "disposition": "not_economic"})
            for seq, step in enumerate(("reseat", "close")):
                fails = rng.random() < (0.25 if week < 52 or step == "close" else 0.10)
                steps.append({"job_id": name, "step_seq": seq, "step": step, "outcome": "fail" if fails else "pass",
                              "ended_at": closed, "value": round(float(rng.normal(50, 2)), 2)})
            tests.append({"job_id": name, "test": "load", "run_at": closed,
                          "value": round(float(rng.normal(4, 0.1)), 3),
                          "outcome": "fail" if rng.random() < 0.2 else "pass", "unit": "V",
                          "lower_limit": 3.5, "upper_limit": 4.5})
    actions = [{"action_id": "ACT-1", "what": "guide", "started_on": (START + timedelta(weeks=52)).date(),
                "scope": "step=reseat"}]
    return {"jobs": jobs, "steps": steps, "diagnostics": tests, "actions": actions}


@pytest.fixture(scope="module")
def made() -> dict[str, list[dict[str, Any]]]:
    return rows()


@pytest.fixture(scope="module")
def depot(made: dict[str, list[dict[str, Any]]]) -> Iterator[Depot]:
    with depot_of(made, as_of=(START + timedelta(weeks=WEEKS + 10)).date()) as opened:
        yield opened


def week_of(when: datetime) -> date:
    return (when - timedelta(days=when.weekday())).date()


def index_jobs(made: dict[str, list[dict[str, Any]]]) -> list[tuple[dict[str, Any], bool]]:
    back = {j["unit_id"] for j in made["jobs"] if j["job_id"].endswith("/2")}
    return [(j, j["job_id"] in back) for j in made["jobs"] if not j["job_id"].endswith("/2")]


def by_week(pairs: list[tuple[datetime, float]]) -> tuple[list[date], list[list[float]]]:
    found: dict[date, list[float]] = {}
    for when, value in pairs:
        found.setdefault(week_of(when), []).append(value)
    weeks = sorted(found)
    return weeks, [found[w] for w in weeks]


def same_lines(table: pl.DataFrame, chart: Any) -> None:
    """To the six digits that answers keep."""
    for name, row in (("value", "values"), ("centre", "centre"), ("lower", "lower"), ("upper", "upper")):
        assert table[name].to_numpy() == pytest.approx(getattr(chart, row), abs=6e-7), name


def test_come_backs_by_week_are_the_exact_p_chart_of_the_same_counts(depot: Depot, made: Any) -> None:
    weeks, back = by_week([(j["closed_at"], float(b)) for j, b in index_jobs(made)])
    table = depot.control_chart("comebacks", period="week").table
    assert table["period"].to_list() == weeks
    assert table["size"].to_list() == [len(b) for b in back]
    # 1.2 come-backs a week on average: normal limits would mislead.
    count = [int(sum(b)) for b in back]
    same_lines(table, spc.p_chart(count=count, size=[len(b) for b in back], limits="exact"))


def test_failed_checks_are_the_u_chart_by_month(depot: Depot, made: Any) -> None:
    count: dict[date, int] = {}
    size: dict[date, int] = {}
    for job, _ in index_jobs(made):
        month = job["closed_at"].date().replace(day=1)
        size[month] = size.get(month, 0) + 1
    for s in made["steps"]:
        month = s["ended_at"].date().replace(day=1)
        count[month] = count.get(month, 0) + (s["outcome"] == "fail")
    r = depot.control_chart("failed_checks", chart="u")
    assert r.table["period"].to_list() == sorted(size)
    same_lines(r.table, spc.u_chart(count=[count[m] for m in sorted(size)], size=[size[m] for m in sorted(size)]))
    assert r.settings["chart"] == "u chart"


def test_measurements_are_the_mean_chart_of_the_readings(depot: Depot, made: Any) -> None:
    weeks, readings = by_week([(s["ended_at"], s["value"]) for s in made["steps"] if s["step"] == "close"])
    r = depot.control_chart("step_values", where={"step": "close"}, period="week")
    assert r.table["period"].to_list() == weeks
    assert r.settings["chart"] == "X-bar chart with S"
    same_lines(r.table, spc.xbar_s_chart(readings))
    _, minutes = by_week([(j["closed_at"], j["labour_minutes"]) for j, _ in index_jobs(made)])
    singles = depot.control_chart("labour_minutes", period="week", chart="individuals").table
    same_lines(singles, spc.individuals_chart([float(np.mean(m)) for m in minutes]))


def test_gaps_are_the_g_and_the_t_chart(depot: Depot, made: Any) -> None:
    jobs = sorted(index_jobs(made), key=lambda pair: pair[0]["closed_at"])
    places = [i for i, (_, back) in enumerate(jobs) if back]
    gaps = [b - a - 1 for a, b in pairwise(places)]
    r = depot.control_chart("jobs_between_comebacks")
    assert r.table["period"].to_list() == [jobs[i][0]["closed_at"].date() for i in places[1:]]
    same_lines(r.table, spc.g_chart(gaps, limits="exact"))
    opened = sorted(j["opened_at"].date() for j in made["jobs"] if j["job_id"].endswith("/2"))
    days = [(b - a).days for a, b in pairwise(opened)]
    t = depot.control_chart("days_between_comebacks")
    made_of = spc.t_chart(days)
    assert t.table["value"].to_list() == days
    assert t.table["upper"].to_numpy() == pytest.approx(made_of.gap_upper, abs=6e-7)
    assert t.settings["period"] == "come-back"


def test_first_runs_of_tests_have_a_chart_of_their_own(depot: Depot) -> None:
    own = depot.control_chart("first_run_pass").table
    named = depot.control_chart("first_pass_yield", where={"test": "load"}).table
    assert own.equals(named)
    with pytest.raises(RequestError, match="first runs"):
        depot.control_chart("first_run_pass", by="step")


def test_a_stage_begins_with_the_first_whole_period_of_its_action(depot: Depot) -> None:
    where = {"step": "reseat"}
    r = depot.control_chart("first_pass_yield", where=where, stages="ACT-1", chart="p")
    began = (START + timedelta(weeks=52)).date()
    first = r.table.filter(pl.col("stage") == 2)["period"].min()
    # The action began on 5 January 2026, a Monday within a month.
    assert (began, first) == (date(2026, 1, 5), date(2026, 2, 1))
    plain = depot.control_chart("first_pass_yield", where=where, chart="p").table
    count = (plain["value"] * plain["size"]).round(0).cast(pl.Int64).to_list()
    place = plain["period"].to_list().index(date(2026, 2, 1))
    same_lines(r.table, spc.p_chart(count=count, size=plain["size"].to_list(), stages=[place]))
    assert any("ACT-1 (guide) took effect on 2026-01-05, for step=reseat." in note for note in r.notes)
    assert depot.control_chart("first_pass_yield", where="ACT-1", stages="ACT-1", chart="p").table.equals(r.table)
    by_weeks = depot.control_chart("first_pass_yield", where=where, stages="ACT-1", chart="p", period="week").table
    assert by_weeks.filter(pl.col("stage") == 2)["period"].min() == began


def test_a_frozen_baseline_judges_what_comes_later(depot: Depot) -> None:
    """The guide halves the failures: against the year before, the chart says so."""
    r = depot.control_chart("first_pass_yield", where={"step": "reseat"}, baseline=("2025-01", "2025-12"), chart="p",
                            period="week")
    listed = [date(2025, m, 1) for m in range(1, 12)] + [date(2025, 12, 31)]
    again = depot.control_chart("first_pass_yield", where={"step": "reseat"}, baseline=listed, chart="p", period="week")
    assert again.table.equals(r.table)
    before = r.table.filter(pl.col("period") < date(2026, 1, 1))
    share = float((before["value"] * before["size"]).sum() / before["size"].sum())
    assert r.table["centre"].unique().to_list() == pytest.approx([share], abs=6e-7)
    loud = r.table.filter(pl.col("signal") != "")
    assert set(loud["signal"]) == {"eight in a row, above the centre"}
    assert loud["period"].min() >= date(2026, 1, 5)


def test_points_set_aside_are_shown_with_their_reason_and_move_nothing(depot: Depot) -> None:
    r = depot.control_chart("clean_jobs", set_aside={"2025-09": "flood in the hall"}, chart="p")
    (row,) = r.table.filter(pl.col("period") == date(2025, 9, 1)).iter_rows(named=True)
    assert (row["set_aside"], row["signal"]) == ("flood in the hall", "")
    rest = r.table.filter(pl.col("period") != date(2025, 9, 1))
    share = float((rest["value"] * rest["size"]).sum() / rest["size"].sum())
    assert r.table["centre"][0] == pytest.approx(share, abs=6e-7)
    in_weeks = depot.control_chart("clean_jobs", period="week", set_aside={"2025-09-03": "flood"}, chart="p").table
    assert in_weeks.filter(pl.col("set_aside") != "")["period"].to_list() == [date(2025, 9, 1)]


def test_the_false_alarms_of_the_rules_are_told(depot: Depot) -> None:
    def told(**how: Any) -> str:
        (note,) = [n for n in depot.control_chart("clean_jobs", **how).notes if n.startswith("Rules: ")]
        return note

    few = told(by="site")
    one = spc.false_alarm_chance(points=12)
    assert f"within a year with a chance of {100 * one:.2g} %" in few
    assert f"{100 * (1 - (1 - one) ** 2):.2g} % on one or another of these 2" in few
    assert f"{100 * spc.false_alarm_chance(points=52):.2g} %" in told(period="week")
    # Nelson's eight: 10,000 tried charts against the exact chain's 73.5 points; its chance within 12 points is near
    # 1 - exp(-12 / 73.5) = 15 %, less what patterns of many points cannot do yet.
    assert 8 < float(told(rules="nelson").split("a chance of ")[1].split(" %")[0]) < 15
    assert "3.6 %" in told(chart="ewma")


def test_the_ewma_of_the_depot_is_as_quiet_as_three_sigma_limits() -> None:
    """Mean run length 370, that of three-sigma limits on near-normal points: 1 / (2 (1 - Phi(3))) = 370.4."""
    from rqa.answers.charts.chart_types import EWMA_WEIGHT, EWMA_WIDTH

    mean = spc.run_length(spc.EwmaDesign(weight=EWMA_WEIGHT, width=EWMA_WIDTH, limits="asymptotic")).mean
    assert mean == pytest.approx(370.4, rel=0.03)


def test_too_few_points_have_no_limits_and_say_how_many_more(depot: Depot) -> None:
    r = depot.control_chart("clean_jobs", months=("2025-02", "2025-05"))
    assert r.settings["chart"] == "no limits"
    assert r.table["upper"].null_count() == 4
    assert r.table["value"].null_count() == 0
    assert any("4 more are needed" in note for note in r.notes)
    assert not any(note.startswith("Rules") for note in r.notes)


def test_one_odd_month_is_a_signal_though_it_widens_the_limits() -> None:
    """Eleven months as chance has them and one far out, which widens the steps of two months and not the others."""
    jobs: list[dict[str, Any]] = []
    for month, failed in enumerate((10, 8, 12, 11, 9, 10, 30, 8, 10, 12, 9, 11), 1):
        for n in range(100):
            closed = datetime(2025, month, 10)
            jobs.append({"job_id": f"{month}/{n}", "unit_id": f"{month}/{n}", "opened_at": closed, "closed_at": closed,
                         "failed": n < failed})
    steps = [{"job_id": j["job_id"], "step": "s", "outcome": "fail" if j.pop("failed") else "pass"} for j in jobs]
    with depot_of({"jobs": jobs, "steps": steps}, as_of="2026-01-31") as depot:
        r = depot.control_chart("clean_jobs")
    assert r.settings["chart"] == "p' chart"
    assert r.table.filter(pl.col("signal") != "")["period"].to_list() == [date(2025, 7, 1)]


def test_units_are_not_mixed() -> None:
    closed = datetime(2025, 1, 10)
    jobs = [{"job_id": f"J{i}", "unit_id": f"U{i}", "opened_at": closed, "closed_at": closed} for i in range(4)]
    tests = [{"job_id": f"J{i}", "test": ("load", "rate")[i % 2], "run_at": closed, "value": 1.0 * i,
              "unit": ("V", "A")[i % 2]} for i in range(4)]
    mixed = [{**t, "test": "load"} for t in tests]
    several = pytest.raises(RequestError, match=r"several units \(A, V\)")
    with depot_of({"jobs": jobs, "diagnostics": mixed}) as depot, several:
        depot.control_chart("test_values", by="test")
    odd = [{**t, "test": "odd"} for t in tests]
    with depot_of({"jobs": jobs, "diagnostics": [*tests, *odd]}) as depot:
        r = depot.control_chart("test_values", by="test")
    assert r.settings["units"] == {"load": "V", "rate": "A"}
    assert "Left out, as its values come in several units: odd." in r.notes
    with depot_of({"jobs": jobs, "diagnostics": tests}) as depot:
        for ask in (depot.control_chart, depot.charts.capability):
            with pytest.raises(RequestError, match="name test in by=, or one test in where="):
                ask("test_values", by="site")
            with pytest.raises(RequestError, match="name step in by="):
                ask("step_values", by=())
        r = depot.control_chart("test_values", by="test")
    assert r.settings["units"] == {"load": "V", "rate": "A"}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: d.control_chart("comebacks", chart="u"), "There is: auto, p, np, laney_p"),
        (lambda d: d.control_chart("comebacks", limits="exact"), "limits= goes with chart="),
        (lambda d: d.control_chart("comebacks", rules="all"), "There is: few, limits, western_electric, nelson"),
        (lambda d: d.control_chart("comebacks", stages="ACT-9"), "Actions in the store: ACT-1"),
        (lambda d: d.control_chart("comebacks", where="ACT-9"), "where takes filters, or an action"),
        (lambda d: d.control_chart("comebacks", set_aside={"2024-01": "old"}), "no point 2024-01 to set aside"),
        (lambda d: d.control_chart("comebacks", set_aside={"2025-03": " "}), "a reason in words"),
        (
            lambda d: d.control_chart("comebacks", baseline=("2020-01", "2020-12")),
            "no mature point lies in the baseline",
        ),
        (lambda d: d.control_chart("comebacks", baseline=("2025-06", "2025-01")), "is before the start"),
        (lambda d: d.control_chart("comebacks", set_aside="2025-03"), "points with their reasons"),
        (lambda d: d.control_chart("comebacks", stages=3), "3 is none"),
        (
            lambda d: d.control_chart("comebacks", chart="ewma", stages="2025-06"),
            "control_chart: an EWMA takes a baseline, but no stages",
        ),
        (lambda d: d.control_chart("comebacks", chart="ewma", rules="nelson"), "rules='limits'"),
        (lambda d: d.control_chart("comebacks", by="week"), "leave week out"),
        (lambda d: d.comebacks(where={"week": "2025-01-06"}), "to choose months"),
        (lambda d: d.charts.cusum(odds=1), "not 1, such as 2"),
        (lambda d: d.charts.cusum(baseline=("2030-01", "2030-02")), "no matured job was closed in the baseline"),
        (lambda d: d.charts.time_to_detect("failed_checks"), "is no share"),
        (lambda d: d.charts.cusum(odds="2"), "not 1, such as 2"),
        (lambda d: d.charts.cusum(false_alarm_months="60"), "months above 0"),
        (lambda d: d.charts.time_to_detect(change=1), "factor above 0 and not 1"),
        (lambda d: d.charts.time_to_detect(change="1.5"), "factor above 0 and not 1"),
        (lambda d: d.charts.time_to_detect(chance=90), "chance is a number between 0 and 1"),
        (lambda d: d.charts.capability(lower_limit="5"), "lower_limit is a number"),
        (lambda d: d.charts.capability("comebacks"), "There is: test_values, step_values, labour_minutes"),
        (lambda d: d.charts.capability(lower_limit=5, upper_limit=4), "lower_limit must be below upper_limit"),
    ],
)
def test_wrong_questions_say_what_exists(depot: Depot, call: Any, says: str) -> None:
    with pytest.raises(RequestError) as raised:
        call(depot)
    assert says in str(raised.value)
    assert str(raised.value).count("control_chart:") <= 1


def test_an_empty_store_has_empty_charts() -> None:
    with depot_of({"jobs": []}) as depot:
        for measure in ("comebacks", "failed_checks", "labour_minutes", "jobs_between_comebacks",
                        "days_between_comebacks"):
            assert depot.control_chart(measure).table.height == 0
        assert depot.control_chart("test_values", by="test").table.height == 0
        assert depot.charts.capability().table.height == 0
        watched = depot.charts.cusum(by="site")
        assert watched.table.height == 0
        assert watched.table.columns[:3] == ["site", "period", "size"]
        assert "0 matured jobs are too few" in watched.notes[-1]


def test_an_np_chart_shows_numbers_and_an_ewma_no_average_of_what_is_not_mature() -> None:
    with depot_of(rows(weeks=30), as_of=START.date() + timedelta(weeks=30)) as depot:
        plain = depot.control_chart("comebacks", chart="p").table
        number = depot.control_chart("comebacks", chart="np")
        average = depot.control_chart("comebacks", chart="ewma").table
    assert number.settings["unit"] == "cases"
    assert number.table["value"].to_list() == pytest.approx((plain["value"] * plain["size"]).to_list(), abs=1e-3)
    young = ~plain["mature"]
    assert young.any()
    assert average.filter(young)["value"].null_count() == young.sum()


@pytest.mark.parametrize("chart", ["p", "np", "laney_p", "individuals", "ewma"])
def test_what_the_data_warn_of_is_said_whatever_chart_is_asked_for(chart: str) -> None:
    """A share that rises slowly from 2 to 6 %: from month to month no more than chance, as a whole far more."""
    size = np.full(24, 1000)
    count = np.linspace(20, 60, 24).astype(np.int64)
    periods = tuple(date(2024 + m // 12, m % 12 + 1, 1) for m in range(24))
    series = Series((), periods, size, np.ones(24, dtype=np.bool_), {"count": count, "size": size})
    made = make(series, "share", chart=chart, limits=None, rules=(), basis=ChartSettings())
    assert any("the level moved" in note for note in made.notes), made.notes
