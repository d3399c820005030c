"""A million jobs at one site beside one job at another: groups stand side by side, and nothing is said of the one."""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest

import rqa
from rqa.depot import Depot
from tests.odd_depots.soundness import drawn, faults_of

JOBS = 1_000_000
SMALL, LARGE = "Île", "Fabrique"


def jobs() -> pl.DataFrame:
    """Every tenth job brings a unit that was there a fortnight before."""
    n = pl.int_range(JOBS + 1, eager=True).alias("n")
    opened = pl.lit(datetime(2024, 1, 1, 8)) + pl.duration(minutes=pl.col("n") * 700_000 // JOBS)
    back = (pl.col("n") % 10 == 0) & (pl.col("n") > JOBS // 20)
    return pl.DataFrame(n).select(
        job_id=pl.format("J{}", "n"),
        unit_id=pl.format("U{}", pl.when(back).then(pl.col("n") - JOBS // 35).otherwise("n")),
        model=pl.lit("M"),
        site=pl.when(pl.col("n") == JOBS // 2 + 1).then(pl.lit(SMALL)).otherwise(pl.lit(LARGE)),
        procedure=pl.lit("révision"),
        opened_at=opened.dt.strftime("%Y-%m-%d %H:%M:%S"),
        closed_at=(opened + pl.duration(hours=3)).dt.strftime("%Y-%m-%d %H:%M:%S"),
        disposition=pl.lit("repaired"),
        found=pl.lit("roue"),
        complaint=pl.lit("roue"),
        technician=pl.format("T{}", pl.col("n") % 7),
    )


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Depot]:
    folder = tmp_path_factory.mktemp("skewed")
    report = rqa.load(folder, frames={"jobs": jobs()})
    assert [f.accepted for f in report.files] == [JOBS + 1]
    with rqa.open(Path(folder)) as opened:
        yield opened


@pytest.mark.long
def test_the_one_job_is_counted_and_not_judged(depot: Depot) -> None:
    rates = depot.comebacks(by=("site",))
    assert {row["site"]: row["matured"] for row in rates.table.iter_rows(named=True)}[SMALL] == 1
    compared = depot.compare("site", outcome="comeback")
    verdicts = dict(compared.table.select("site", "verdict").iter_rows())
    assert verdicts[SMALL] == "too little work to say"
    answers = (
        rates, compared, depot.returns.compare_curves("site"), depot.returns.curve(by="site"),
        depot.returns.cohorts(by="site"), depot.control_chart(by=("site",)), depot.charts.cusum(by=("site",)),
        depot.projection(by=("site",)), depot.returns.recurrences(by="site"),
        depot.charts.time_to_detect(by=("site",)), depot.returns.chronic_units(), depot.costs(),
    )
    for answer in answers:
        assert not list(faults_of(answer)), type(answer)
        assert drawn(answer)
