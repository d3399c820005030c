"""Sites beside each other by first checks: the job is what is sampled, and nothing waits for come-backs."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray

from rqa.answers.compare.comparison import compare
from rqa.answers.core.scope import PERIODS
from rqa.answers.yields.first_pass import GROUPINGS
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.measures.keep import keep
from rqa.stats import proportion_test
from tests.depots import depot_of

FIRST = datetime(2026, 3, 2, 9)
FILTERS = [name for name in GROUPINGS if name not in PERIODS]


def _person(given: Any) -> str | None:
    """T and the number, a name as it is."""
    return given if given is None or isinstance(given, str) else f"T{given}"


@contextmanager
def depot_checked(
    failed: NDArray[np.bool_], site: NDArray[np.int64], hours: int = 1, technician: Any = None, bench: Any = None
) -> Iterator[Depot]:
    """A depot with a row of `failed` a job, a column a step; one unit a job, opened so many hours after the last.

    `technician` and `bench` are numbers by job, or a technician's name or None; None where the log names none.
    """
    n = len(failed)
    names = [f"J{i:05d}" for i in range(n)]
    at = pl.Series([FIRST]).repeat_by(n).explode() + pl.Series(range(n)).cast(pl.Duration("us")) * 3_600_000_000 * hours
    jobs = pl.DataFrame({
        "job_id": names, "unit_id": names, "model": "Quern", "procedure": "board", "disposition": "repaired",
        "site": [f"S{s:03d}" for s in site], "opened_at": at, "closed_at": at,
    }).with_columns(opened_on=pl.col("opened_at").dt.date(), closed_on=pl.col("closed_at").dt.date())
    row, place = np.indices(failed.shape)
    steps = pl.DataFrame({
        "job_id": pl.Series(names).gather(row.ravel()), "step_seq": place.ravel() + 1, "attempt": 1,
        "step": [f"step {p:02d}" for p in place.ravel()],
        "outcome": np.where(failed.ravel(), "fail", "pass"), "done_on": jobs["opened_on"].gather(row.ravel()),
    })
    if technician is not None and bench is not None:
        jobs = jobs.with_columns(technician=pl.Series([_person(t) for t in technician]))
        steps = steps.with_columns(bench=pl.Series([f"B{b}" for b in bench]).gather(row.ravel()))

    def kept(connection: Any) -> None:
        for name, frame in (("jobs", jobs), ("steps", steps)):
            connection.register("given", frame.to_arrow())
            connection.execute(f"insert into {name} by name select * from given")
            connection.unregister("given")
        keep(connection)

    with depot_of({}, kept=kept) as depot:
        yield depot


def clustered(rng: np.random.Generator, jobs: int, width: int, bad: float = 0.1) -> NDArray[np.bool_]:
    """Checks that fail by chance on good units, and two in three of them on bad ones."""
    chance = np.where(rng.random(jobs) < bad, 0.67, 0.05)
    return rng.random((jobs, width)) < chance[:, np.newaxis]


def test_checks_that_fail_together_count_as_one() -> None:
    """All five checks of a job fail or none: the failures vary five times as much, and the limits say so."""
    failed = np.repeat(np.arange(400)[:, np.newaxis] % 10 == 0, 5, axis=1)
    site = np.arange(400) // 200
    with depot_checked(failed, site) as depot:
        r = depot.compare("site", outcome="first_pass", spread=False)
    # n/(n-1) jobs in a cell: 200/199.
    assert r.settings["by_job"] == pytest.approx(5 * 200 / 199, abs=0.001)
    assert any("pass and fail together" in n and "5.03 times" in n for n in r.notes)
    (low, high) = r.table.select("low", "high").row(0)
    # With 20 failing jobs a site, not 100 failed checks: log limits sqrt(5.03) times those of 100 (Garwood).
    assert low == pytest.approx(np.exp(np.log(0.81364) * (5 * 200 / 199) ** 0.5), abs=2e-4)
    assert high > 1.5


def test_independent_checks_are_taken_as_they_are() -> None:
    rng = np.random.default_rng(1)
    with depot_checked(rng.random((1000, 6)) < np.linspace(0.02, 0.4, 6), rng.integers(0, 2, 1000)) as depot:
        r = depot.compare("site", outcome="first_pass")
    assert 1.0 <= float(str(r.settings["by_job"])) < 1.12


@pytest.mark.slow
def test_alike_sites_are_told_apart_as_rarely_as_promised() -> None:
    """160 sites that are alike, units that fail many checks: p below 0.05 in about 8; by single checks in over 30."""
    rng = np.random.default_rng(2)
    site = np.repeat(np.arange(160), 50)
    with depot_checked(clustered(rng, site.size, 6), site) as depot:
        r = compare(depot._snapshot, who="site", outcome="first_pass", spread=False)
    # Three standard errors of a share of 0.05 of 160 are 0.052.
    assert (r.table["p_value"] < 0.05).mean() <= 0.05 + 0.052
    single = np.abs(r.table["z"].to_numpy()) > 1.96
    assert single.mean() > 0.2
    assert set(r.table["verdict"]) == {"not distinguishable"}


@pytest.mark.slow
def test_months_that_are_alike_are_told_apart_as_rarely_as_promised() -> None:
    """40 depots of months that are alike, units that fail many checks: the last month differs in about two of them."""
    said, single = [], []
    for seed in range(40):
        rng = np.random.default_rng(100 + seed)
        with depot_checked(clustered(rng, 900, 6), np.zeros(900, dtype=np.int64), hours=4) as depot:
            r = depot.charts.month_against_before("first_pass_yield")
        assert r is not None
        assert r.by_job > 2
        said.append(r.more_than_luck)
        test = proportion_test(successes1=r.count, trials1=r.size, successes2=r.before_count, trials2=r.before_size)
        single.append(float(test.p_value) < 0.05)
        assert (r.difference_low < 0 < r.difference_high) or r.more_than_luck
    # More than 6 of 40 come with a chance of 0.003 where each has 0.05.
    assert sum(said) <= 6
    assert sum(single) > sum(said)


@pytest.mark.parametrize("name", FILTERS)
def test_a_month_takes_every_filter_that_its_share_takes(name: str) -> None:
    """Shift and training tell checks of one job apart, and test and station ask for first runs; a month takes them."""
    failed = np.random.default_rng(4).random((200, 3)) < 0.2
    with depot_checked(failed, np.arange(200) % 2, hours=6) as depot:
        there = depot.first_pass_yield(by=(name,)).table[name].to_list() or ["1"]
        where = {name: str(there[0])}
        try:
            asked = depot.first_pass_yield(by=("month",), where=where, months="2026-03").table
        except RequestError:
            return  # no such value in this depot
        r = depot.charts.month_against_before("first_pass_yield", month="2026-03", where=where)
    assert r is not None
    assert r.size == (asked["exposures"][0] if asked.height else 0)
    assert r.by_job >= 1


def test_a_site_that_fails_more_first_checks_is_a_finding_before_any_come_back_has_matured() -> None:
    """Six weeks of work, 68 % and 57 % of the first checks passed: nobody waits 30 days for what is known at once."""
    rng = np.random.default_rng(3)
    site = rng.integers(0, 2, 500)
    failed = rng.random((500, 4)) < np.where(site == 0, 0.32, 0.43)[:, np.newaxis]
    with depot_checked(failed, site, hours=2) as depot:
        found = depot.findings()
    assert found.settings["month"].isoformat() == "2026-03-01"  # type: ignore[union-attr]
    assert found.compared["first checks that failed, by site, against what the same work brings"] == 2
    (told,) = found.findings
    assert dict(told.scope) == {"site": "S001"}
    assert told.worse
    assert "no month's come-backs within 30 days are final yet" in " ".join(found.notes)


def test_where_no_month_is_over_nothing_is_compared_and_it_says_so() -> None:
    with depot_checked(np.zeros((20, 2), dtype=bool), np.zeros(20, dtype=np.int64)) as depot:
        found = depot.findings()
    assert found.stated == ()
    assert found.notes[0].startswith("Cannot be told: findings of the month, as there are no comparisons")
    assert found.notes[1:] == ("Cannot be told: what there is to act on, as there are no months that are over.",)


def test_where_all_pass_nothing_is_more_than_luck_and_that_was_compared() -> None:
    with depot_checked(np.zeros((600, 2), dtype=bool), np.arange(600) % 2, hours=2) as depot:
        found = depot.findings()
    assert found.table.is_empty()
    assert found.compared["first checks that failed, by site, against what the same work brings"] == 2
    assert found.notes[0] == "Of all that was compared nothing is statistically clear."
