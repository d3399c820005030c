"""Come-backs in depth on depots small enough to count in one's head, and on simulated ones whose truth is known."""

import math
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from rqa.answers.comebacks.closing_days import closing_days, seen_on
from rqa.answers.comebacks.projection import tried
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.stats import incidence_contrast, kaplan_meier, log_rank
from tests.depots import depot_of
from tests.measures.depot_rows import ROWS

START = datetime(2025, 1, 1, 9)


def job(job_id: str, unit: str, opened: float, closed: float | None, **more: Any) -> dict[str, Any]:
    return {
        "job_id": job_id, "unit_id": unit, "opened_at": START + timedelta(days=opened),
        "closed_at": None if closed is None else START + timedelta(days=closed), "technician": "T01",
        "disposition": "repaired" if closed is not None else "open", **more,
    }


def back(unit: str, closed: float, after: int | None, **more: Any) -> list[dict[str, Any]]:
    """A job closed on a day and, unless `after` is None, a return so many days later that is not repaired."""
    made = [job(f"{unit}-1", unit, closed - 1, closed, **more)]
    if after is not None:
        came = closed + after + 0.1
        made.append(job(f"{unit}-2", unit, came, came + 1, disposition="returned_unrepaired", found="board", **more))
    return made


QUESTIONS: dict[str, Callable[..., Any]] = {
    "comeback_curve": lambda d, **k: d.returns.curve(**k),
    "cause": lambda d, **k: d.returns.curve(cause="repeat", **k),
    "days_until": lambda d, **k: d.returns.days_until(**k),
    "comeback_hazard": lambda d, **k: d.returns.hazard(**k),
    "compare_curves": lambda d, **k: d.returns.compare_curves("model", **k),
    "comeback_causes": lambda d, **k: d.returns.classes(**k),
    "comeback_matrix": lambda d, **k: d.returns.matrix(**k),
    "recurrences": lambda d, **k: d.returns.recurrences(**k),
    "return_trends": lambda d, **k: d.returns.trends(**k),
    "chronic_units": lambda d, **k: d.returns.chronic_units(**k),
    "worst_share": lambda d, **k: d.returns.worst_share(**k),
    "projection": lambda d, **k: d.projection(**k),
    "projection_backtest": lambda d, **k: d.returns.projection_backtest(**k),
    "cohorts": lambda d, **k: d.returns.cohorts(**k),
    "return_indices": lambda d, **k: d.returns.indices(**k),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_no_jobs_are_no_rows(name: str) -> None:
    with depot_of({"jobs": []}) as depot:
        assert QUESTIONS[name](depot).table.height == 0
    with depot_of(ROWS) as depot:
        asked = QUESTIONS[name](depot, where={"technician": "T99"})
        assert asked.table.height == 0
        assert asked.table.columns == QUESTIONS[name](depot).table.columns
        assert repr(asked)


def test_ties_day_0_and_day_w() -> None:
    """Ten jobs closed on one day: two back on day 0, one on day 30, one on day 31; seen for 60 days."""
    jobs = [j for n, after in enumerate((0, 0, 30, 31, *[None] * 6)) for j in back(f"U{n}", 10, after)]
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=70)) as depot:
        curve = depot.returns.curve(upto=60).table
        on = {r["day"]: r for r in curve.iter_rows(named=True)}
        assert [on[d]["share"] for d in (0, 29, 30, 31, 60)] == [0.2, 0.2, 0.3, 0.4, 0.4]
        assert [on[d]["at_risk"] for d in (0, 1, 30, 31, 32)] == [10, 8, 8, 7, 6]
        assert [on[d]["returned"] for d in (0, 1, 30, 31)] == [2, 0, 1, 1]
        assert depot.comebacks(window=30).table["rate"][0] == 0.3
        assert depot.projection(30).table["projected"][0] == 0.3
        until = depot.returns.days_until(share=0.3, upto=60).table.row(0, named=True)
        assert (until["jobs"], until["returned"], until["day"]) == (10, 4, 30)
        # 60 days of 6 jobs, 30 and 31 of one each, none of two, over ten jobs
        assert until["days_out"] == pytest.approx((6 * 60 + 30 + 31) / 10)


def test_everything_censored() -> None:
    jobs = [j for n in range(8) for j in back(f"U{n}", 10 + n, None)]
    # Units are known again here: one is in twice, neither time repaired.
    jobs += [job(f"A{n}", "A", 3 * n, 3 * n + 1, disposition="not_economic") for n in range(2)]
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=30)) as depot:
        curve = depot.returns.curve().table
        assert curve["day"].to_list() == list(range(21))
        assert set(curve["share"]) == set(curve["low"]) == {0.0}
        assert curve["high"].min() > 0  # type: ignore[operator]
        assert depot.returns.recurrences().table["mcf"].sum() == 0
        assert depot.returns.trends().table["trend"].to_list() == ["no data"]
        assert depot.returns.worst_share().table["share"].null_count() == 3
        test = depot.returns.compare_curves("model", window=90)
        assert (test.p_value, test.degrees_of_freedom) == (None, 0)
        # Nobody was followed for 30 days, so there is nothing to project from.
        assert depot.projection(30).table["projected"].to_list() == [None]


def test_one_unit_with_fifty_returns() -> None:
    """Its fifty returns are fifty, its 51 jobs are 51, and it is the one chronic unit of 41."""
    jobs = [job(f"B{n:02}", "BAD", 6 * n, 6 * n + 2, disposition="repaired") for n in range(51)]
    jobs += [j for n in range(40) for j in back(f"U{n}", 2, 50 if n < 4 else None)]
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=402)) as depot:
        mean = depot.returns.recurrences(upto=400).table
        last = mean.row(-1, named=True)
        assert (last["day"], last["at_risk"]) == (400, 41)
        assert last["mcf"] == pytest.approx(54 / 41, abs=1e-6)
        # Influence of the bad unit is 50 less the mean, of four 1 less it, of 36 its negative.
        m = 54 / 41
        assert last["se"] == pytest.approx(np.sqrt((50 - m) ** 2 + 4 * (1 - m) ** 2 + 36 * m**2) / 41, abs=1e-6)
        chronic = depot.returns.chronic_units(upto=400).table
        assert chronic.filter("chronic")["unit_id"].to_list() == ["BAD"]
        assert chronic["returns"][0] == 50
        listed = depot.returns.chronic_units(upto=400).jobs().table
        assert set(listed["unit_id"]) == {"BAD"}
        assert listed.height == 50
        assert 0 < chronic["p_adjusted"][0] < 1e-9
        worst = depot.returns.worst_share(worst=(1 / 41,), upto=400).table.row(0, named=True)
        assert worst["share"] == pytest.approx(50 / 54, abs=1e-6)
        assert worst["by_luck"] < 0.2
        # 90 of the 91 repaired jobs were out for 30 days, fifty of which came back after four.
        assert depot.comebacks(window=30).table.row(0)[:3] == (91, 91, 50)


def leaving(share: float, seed: int = 5, jobs: int = 600) -> dict[str, list[dict[str, Any]]]:
    """Jobs of which one in ten comes back on a day up to 30; a share of the units leaves service on a day up to 40."""
    rng = np.random.default_rng(seed)
    made: dict[str, list[dict[str, Any]]] = {"jobs": [], "retirements": []}
    for n in range(jobs):
        day, model = n % 100, "Quern" if n % 4 == 0 else "Marl-8"
        after = int(rng.integers(1, 31)) if rng.random() < 0.1 else None
        gone = int(rng.integers(0, 41)) if rng.random() < share else None
        if after is not None and gone is not None and gone < after:
            after = None
        made["jobs"] += back(f"U{n}", day, after, model=model)
        if gone is not None and after is None:
            made["retirements"].append({"unit_id": f"U{n}", "retired_at": START + timedelta(days=day + gone)})
    made["jobs"].append(job("END", "END", 199, 200, model="Marl-8"))
    return made


@pytest.mark.parametrize("share", [0.0, 0.01, 0.04, 0.1, 0.4, 0.9])
@pytest.mark.parametrize("seed", [5, 6])
def test_units_that_left_service_are_said_where_they_move_the_rate_by_a_twentieth(share: float, seed: int) -> None:
    """The rule: matured jobs over those of units that stayed is 1.05 or more, and any came back."""
    with depot_of(leaving(share, seed), as_of=START + timedelta(days=150)) as depot:
        rate, chart, curve = depot.comebacks(), depot.control_chart("comebacks"), depot.returns.curve(upto=60)
        (matured, returned) = rate.table.select("matured", "returned").row(0)
        # A unit followed to day 30 without a return counts as followed for all 30 days, whatever becomes of it.
        left = depot.query(
            "select count(*) as n from links l join retirements r using (unit_id) where l.disposition = 'repaired' and "
            f"l.closed_on <= date '{depot.as_of.date()}' - 30 and r.retired_on - l.closed_on between 0 and 29 and "
            "l.return_job_id is null"
        )["n"][0]
    expected = left > 0 and returned > 0 and matured / (matured - left) >= 1.05
    for answer in (rate, chart):
        said = [n for n in answer.notes if "left service within 30 days without coming back" in n]
        assert len(said) == expected
        if expected:
            assert said[0].startswith(f"{left:,} of {matured:,} matured jobs")
            assert f"instead of {100 * returned / matured:.1f}" in said[0]
            stayed = matured - left
            assert f"Of the {stayed:,} units followed for all 30 days, {100 * returned / stayed:.1f}" in said[0]
    (said_of_curve,) = [n for n in curve.notes if n.startswith("The curve follows")] or [""]
    assert bool(said_of_curve) == expected
    if expected:
        at = curve.table.filter(pl.col("day") == 30)["share"][0]
        assert f"at 30 days it stands at {100 * at:.1f}" in said_of_curve
        assert at > returned / matured


def test_a_group_whose_units_left_is_named() -> None:
    tables = leaving(0.0)
    gone = [j for j in tables["jobs"] if j.get("model") == "Quern" and j["job_id"].endswith("-1")]
    returned = {j["unit_id"] for j in tables["jobs"] if j["job_id"].endswith("-2")}
    tables["retirements"] = [
        {"unit_id": j["unit_id"], "retired_at": j["closed_at"] + timedelta(days=3)}
        for j in gone[::6] if j["unit_id"] not in returned
    ]
    with depot_of(tables, as_of=START + timedelta(days=150)) as depot:
        by, whole = depot.comebacks(by=("model",)), depot.comebacks()
        classes = depot.comebacks(by=("class",))
    assert not any("left service" in n for n in (*whole.notes, *classes.notes))
    (said,) = [n for n in by.notes if "left service" in n]
    assert said.startswith("Without units that left service within 30 days the rate would be Quern: ")
    assert "Marl-8" not in said


def test_retirement_ends_follow_up_and_competes() -> None:
    """Of four jobs one retires on day 3 and one returns on day 5: 1/3 of those followed, 1/4 of all."""
    jobs = [j for n, after in enumerate((5, None, None, None)) for j in back(f"U{n}", 2, after, complaint="board")]
    left = [{"unit_id": "U1", "retired_at": START + timedelta(days=5)}]
    with depot_of({"jobs": jobs, "retirements": left}, as_of=START + timedelta(days=60)) as depot:
        day = pl.col("day") == 10
        assert depot.returns.curve().table.filter(day)["share"][0] == pytest.approx(1 / 3, abs=1e-6)
        assert depot.returns.curve(cause="repeat").table.filter(day)["share"][0] == 0.25
        causes = depot.returns.classes(window=30)
        assert causes.table.filter(pl.col("class") == "repeat")["incidence"][0] == 0.25
        assert any(n.startswith("1 job whose unit left service") for n in causes.notes)
        assert depot.comebacks(window=30).table["rate"][0] == 0.25
        assert depot.projection(30).table["projected"][0] == 0.25
    contradicted = [{"unit_id": "U0", "retired_at": START + timedelta(days=4)}]
    with depot_of({"jobs": jobs, "retirements": contradicted}, as_of=START + timedelta(days=60)) as depot:
        assert depot.returns.curve().table.filter(day)["share"][0] == 0.25


def test_incidences_add_up_to_the_curve() -> None:
    rng = np.random.default_rng(4)
    found = ("board", "display", None)
    jobs = []
    for n in range(120):
        came = int(rng.integers(0, 90)) if rng.random() < 0.4 else None
        pair = back(f"U{n}", float(rng.integers(2, 80)), came, complaint="board", model=("A", "B")[n % 2])
        pair[-1]["found"] = found[n % 3]
        jobs += pair
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=100)) as depot:
        whole = depot.returns.curve(by="model", upto=60).table.filter(pl.col("day") == 60)
        parts = depot.returns.classes(window=60, by="model").table.group_by("model").agg(pl.col("incidence").sum())
        assert parts.sort("model")["incidence"].to_list() == pytest.approx(whole["share"].to_list(), abs=4e-6)
        marks = depot.returns.marks(window=30).table
        assert marks["mark"].to_list() == ["no fault found", "same part fitted again", "had passed its tests"]


def test_comparison_is_that_of_the_rows() -> None:
    rng = np.random.default_rng(5)
    rows, jobs = [], []
    for n in range(150):
        model, site = ("A", "B", "C")[n % 3], ("Alder", "Birch")[n % 2]
        closed, after = int(rng.integers(2, 100)), int(rng.exponential(60 if model == "A" else 120))
        jobs += back(f"U{n}", closed, after, model=model, site=site)
        seen = min(after, 120 - closed)
        rows.append((model, site, seen, int(after <= 120 - closed)))
    table = pl.DataFrame(rows, schema=["model", "site", "day", "back"], orient="row")
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=120)) as depot:
        plain, strata = (
            depot.returns.compare_curves("model", window=60),
            depot.returns.compare_curves("model", within="site", window=60),
        )
    day = np.minimum(table["day"], 61)
    came = (table["back"] == 1).to_numpy() & (table["day"] <= 60).to_numpy()

    def counted(*kept: Any) -> tuple[list[list[int]], list[list[int]]]:
        chosen = [(table["model"] == m).to_numpy() & np.all(kept, axis=0) for m in ("A", "B", "C")]
        return [(c & came).astype(int).tolist() for c in chosen], [(c & ~came).astype(int).tolist() for c in chosen]

    everything = np.ones(len(table), dtype=bool)
    returned, censored = counted(everything)
    expected = log_rank(day=day, returned=returned, censored=censored)
    assert plain.p_value == pytest.approx(expected.p_value)
    assert plain.table["expected"].to_list() == pytest.approx(expected.expected, abs=1e-6)
    by_site = [counted((table["site"] == s).to_numpy()) for s in ("Alder", "Birch")]
    expected = log_rank(day=day, returned=[r for r, _ in by_site], censored=[c for _, c in by_site])
    assert strata.statistic == pytest.approx(expected.statistic)
    one = kaplan_meier(day=day, returned=returned[0], censored=censored[0])
    two = kaplan_meier(day=day, returned=np.sum(returned[1:], axis=0), censored=np.sum(censored[1:], axis=0))
    apart = incidence_contrast(one=one, two=two, day=60)
    first = plain.table.row(0, named=True)
    for name in ("difference", "difference_low", "difference_high", "ratio", "ratio_low", "ratio_high"):
        assert first[name] == pytest.approx(float(getattr(apart, name)), abs=1e-6)


@pytest.mark.parametrize(("day", "final"), [(date(2025, 3, 1), False), (date(2025, 3, 2), True)])
def test_a_month_is_final_as_many_days_after_its_last_day_as_the_window_has(day: date, final: bool) -> None:
    """All jobs of January were closed on the 11th: none is left to wait for, and yet 31 January + 30 days decides."""
    jobs = [j for n in range(30) for j in back(f"U{n}", 10, 3 if n < 6 else None)]
    assert date(2025, 1, 31) + timedelta(days=30) == date(2025, 3, 2)
    with depot_of({"jobs": jobs}, as_of=datetime(day.year, day.month, day.day, 12)) as depot:
        ahead = depot.projection(30)
        chart = depot.control_chart("comebacks", window=30).table
    assert ahead.table.select("jobs", "matured", "projected").row(0) == (30, 30, 0.2)
    said = "Followed for 30 days already, but not final: 2025-01. A month is final and judged 30 days after"
    assert any(note.startswith(said) for note in ahead.notes) is not final
    assert chart["mature"].to_list() == [final]


def test_a_young_month_is_projected_from_recent_ones() -> None:
    """January: of 100 jobs 10 came back on day 5 and 10 on day 20. A job of age 10 returns with chance 10 in 90."""
    jobs = [j for n in range(100) for j in back(f"U{n}", 0.2, 5 if n < 10 else 20 if n < 20 else None)]
    jobs += [j for n in range(50) for j in back(f"V{n}", 49.2, 5 if n < 3 else None)]
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=59)) as depot:
        table = depot.projection(30).table
        assert table.select("month", "jobs", "matured", "returned_so_far").rows() == [
            (date(2025, 1, 1), 100, 100, 20), (date(2025, 2, 1), 50, 0, 3),
        ]
        old, young = table.iter_rows(named=True)
        assert old["projected"] == old["final_low"] == old["final_high"] == 0.2
        # By hand: the pooled curve to day 10 has 13 of 150 back, and from there on January's 10 of 90 on day 20. At the
        # pooled pace 50 jobs had 50 x 0.0907 = 4.53 back by now instead of 3; two returns (1 / 0.49) stand for pace 1.
        pace = (1 / 0.49 + 3) / (1 / 0.49 + 50 * -math.log(137 / 150))
        assert young["projected"] == pytest.approx((3 + 47 * (1 - (80 / 90) ** pace)) / 50, abs=1e-6)
        assert young["low"] < young["projected"] < young["high"]
        assert 3 / 50 <= young["final_low"] < young["final_high"]
        notes = depot.projection(30).notes
        assert any(n.startswith("Projected, not yet mature on 2025-03-01: 2025-02.") for n in notes)


def simulated(rng: np.random.Generator, *, jobs: int, spread: float) -> Any:
    """Two years of jobs a day that return at a falling pace, each month with a pace of its own."""
    closed = np.arange(20_089, 20_089 + 730)
    month = closed.astype("datetime64[D]").astype("datetime64[M]").astype(int)
    pace = np.exp(rng.normal(0, spread, month.max() + 1))[month]
    chance = 0.006 * np.exp(-np.arange(91) / 25)[np.newaxis] * pace[:, np.newaxis]
    out = np.cumprod(1 - chance, axis=1)
    cells = np.concatenate((-np.diff(out, prepend=1.0, axis=1), out[:, -1:]), axis=1)
    counts = rng.multinomial(jobs, cells)
    day, after = np.nonzero(counts)
    return closing_days(90, closed[day], np.where(after > 90, -1, after), counts[day, after])


@pytest.mark.parametrize("spread", [0.0, 0.25])
def test_past_projections_hold_what_came(spread: float) -> None:
    """In simulation the limits of the figure to come hold it about as often as promised, month by month.

    Figures of months seen at their own end: 18 depots with 14 months each make about 250, of which 95 % less three
    standard errors are 90.9 %; whole returns make the limits hold somewhat more than promised.
    """
    rng = np.random.default_rng(11)
    held, so_far, came = [], [], []
    for _ in range(18):
        days = simulated(rng, jobs=12, spread=spread)
        rows = tried(days, 20_089 + 730, recent=12, level=0.95)
        own = rows["seen_on"].astype("datetime64[D]").astype("datetime64[M]").astype(int) == rows["month"]
        held += rows["held"][own].tolist()
        came += rows["came_true"][own].tolist()
        for at, month in zip(rows["seen_on"][own], rows["month"][own], strict=True):
            then = seen_on(days, int(at), recent=12, level=0.95)
            place = np.flatnonzero(then.month == month)[0]
            so_far.append(then.projection.returned[place] / then.projection.jobs[place])
    assert len(held) > 240
    assert 0.909 <= np.mean(held) <= 0.995
    # What the naive rate would have said: far too little.
    assert np.mean(so_far) < 0.75 * np.mean(came)


def test_back_test_through_the_depot() -> None:
    rng = np.random.default_rng(12)
    jobs = [
        j for n in range(360)
        for j in back(f"U{n}", float(rng.integers(2, 360)), int(rng.integers(0, 60)) if rng.random() < 0.2 else None)
    ]
    with depot_of({"jobs": jobs}, as_of=START + timedelta(days=370)) as depot:
        answer = depot.returns.projection_backtest(30)
        mature = depot.comebacks(window=30, by="month").table
    table = answer.table
    assert table["held"].sum() == answer.inside
    assert table.height == answer.judged > 3
    assert table["seen_on"].min() == date(2025, 7, 31)
    rates = dict(mature.select("month", "rate").iter_rows())
    assert table["came_true"].to_list() == [rates[m] for m in table["month"]]
    assert (table["matured"] < table["jobs"]).all()
    # Looked at from that very day, without what came later, the depot says the same.
    then = table.row(2, named=True)
    with depot_of({"jobs": jobs}, as_of=then["seen_on"]) as depot:
        seen = depot.projection(30, months=then["month"]).table.row(0, named=True)
    for name in ("jobs", "matured", "projected", "low", "high", "final_low", "final_high"):
        assert seen[name] == then[name]


def test_cohorts_and_their_unfinished_month() -> None:
    """January: 4 jobs, one back in January, one in March. As of 15 March, the March cell is not final."""
    jobs = [j for n, after in enumerate((3, 60, None, None)) for j in back(f"U{n}", 10, after)]
    jobs[0]["model"] = jobs[1]["model"] = "Quern"
    parts = [{"job_id": "U0-1", "line": 1, "part_no": "P", "lot": "L"}]
    with depot_of({"jobs": jobs, "parts": parts}, as_of=date(2025, 3, 15)) as depot:
        table = depot.returns.cohorts(upto=5).table
        assert table.select("age", "jobs", "returned", "mature").rows() == [
            (0, 4, 1, True), (1, 4, 1, True), (2, 4, 2, False),
        ]
        assert depot.returns.cohorts(by="model", upto=0).table.select("model", "jobs", "returned").rows() == [
            ("Marl-8", 3, 0), ("Quern", 1, 1),
        ]
        assert depot.returns.cohorts(by=("part_no", "lot"), upto=0).table.select("lot", "jobs", "returned").rows() == [
            ("L", 1, 1)
        ]
        assert depot.returns.curve(by="lot", upto=3).table["returned"].to_list() == [0, 0, 0, 1]


def test_return_indices_by_hand() -> None:
    """Three units repaired in January 2025: one back in June, one in March 2026, one still out in August 2026."""
    jobs = [*back("U0", 5, 150), *back("U1", 5, 430), *back("U2", 5, None)]
    with depot_of({"jobs": jobs}, as_of=date(2026, 8, 31)) as depot:
        table = depot.returns.indices().table
        rows = {(f"{r['month']:%Y-%m}", r["index"]): r for r in table.iter_rows(named=True)}
    assert (rows["2025-06", "early"]["units"], rows["2025-06", "early"]["returns"]) == (3, 1)
    assert rows["2025-06", "early"]["rate"] == pytest.approx(400)
    assert (rows["2025-07", "early"]["units"], rows["2025-08", "one_year"]["units"]) == (2, 2)
    assert (rows["2026-03", "one_year"]["returns"], rows["2026-07", "one_year"]["units"]) == (1, 1)
    assert (rows["2026-08", "long_term"]["units"], rows["2026-08", "long_term"]["rate"]) == (1, 0)
    assert rows["2026-08", "early"]["rate"] is None


REFUSED: list[tuple[str, Callable[[Depot], Any]]] = [
    ("there is no grouping 'colour'", lambda d: d.returns.curve(by="colour")),
    ("upto is a whole number of days", lambda d: d.returns.curve(upto=-1)),
    ("there is no class 'worn'", lambda d: d.returns.curve(cause="worn")),
    ("there is no class 3", lambda d: d.returns.curve(cause=3)),  # type: ignore[arg-type]
    ("cannot be combined in one call", lambda d: d.returns.curve(by=("step", "lot"))),
    ("index_disposition is one of", lambda d: d.returns.recurrences(index_disposition="open")),
    ("level is a number", lambda d: d.returns.classes(level=95)),
    ("bandwidth is a number of days", lambda d: d.returns.hazard(bandwidth=0.5)),
    ("there is no grouping 'step'", lambda d: d.returns.compare_curves("step")),
    ("by= names what is to be compared", lambda d: d.returns.compare_curves(())),
    ("weights is one of", lambda d: d.returns.compare_curves("model", weights="all")),
    ("named is one of", lambda d: d.returns.matrix(named="found")),
    ("no unit is in model 'Marl-9'", lambda d: d.returns.recurrence_difference("model", groups=("Marl-8", "Marl-9"))),
    ("two different values", lambda d: d.returns.recurrence_difference("model", groups=("Marl-8", "Marl-8"))),
    ("share is a number between 0 and 1", lambda d: d.returns.days_until(share=1.0)),
    ("fractions of the units", lambda d: d.returns.worst_share(worst=(0.0,))),
    ("fractions of the units", lambda d: d.returns.worst_share(worst="0.01")),  # type: ignore[arg-type]
    ("limit is a whole number of units", lambda d: d.returns.chronic_units(limit=0)),
    ("recent is a whole number of months", lambda d: d.projection(recent=0)),
    ("window is a whole number of days", lambda d: d.projection(window=True)),
    ("upto is a whole number of months", lambda d: d.returns.cohorts(upto=-1)),
    ("there is no grouping 'month'", lambda d: d.projection(by="month")),
]


@pytest.mark.parametrize(("said", "ask"), REFUSED, ids=[said for said, _ in REFUSED])
def test_refuses_in_plain_words(said: str, ask: Callable[[Depot], Any]) -> None:
    with depot_of(ROWS) as depot, pytest.raises(RequestError, match=said):
        ask(depot)
