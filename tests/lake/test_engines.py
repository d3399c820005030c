"""Who runs the tasks changes nothing: this process, a pool, Spark and Dask give the single store's page and findings.

Spark and Dask are extras. Where they, or Java, are not there, the tests that need them say so and are skipped.
"""

import os
import shutil
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import rqa
from rqa.cli import main
from rqa.errors import RequestError, StoreError
from rqa.lake.bucket import Task, run, unpacked
from rqa.lake.engines import engine_of, known, spread
from rqa.lake.layout import current
from rqa.lake.store import LakeStore
from rqa.lake.writing import write_lake
from rqa.review import write_page
from tests.lake.lakes import check_same, stored
from tests.made_once import Shelf
from tests.measures.depot_rows import ROWS

JOBS = 300
ROOT = str(Path(__file__).resolve().parents[2])


ONCE = (
    "(__import__('pathlib').Path(f).exists() or (open(f, 'w').close(), "
    "__import__('os').kill(__import__('os').getpid(), 9))) and t"
)
"""Ends the process that reads it, unless a file is there that it makes first."""


class Deadly:
    """A task that ends the worker to which it is sent the first time; `flag` tells that it did."""

    def __init__(self, flag: Path, task: Task) -> None:
        self.flag, self.task = flag, task

    def __reduce__(self) -> Any:
        return eval, (ONCE, {"f": str(self.flag), "t": self.task})


@contextmanager
def pool() -> Iterator[Any]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as made:
        yield made


@contextmanager
def spark() -> Iterator[Any]:
    sql = pytest.importorskip("pyspark.sql", reason="pyspark is not installed: pip install 'rqa[spark]'")
    if shutil.which("java") is None:
        pytest.skip("there is no Java, which Spark needs")
    os.environ |= {"PYSPARK_PYTHON": sys.executable, "PYTHONPATH": ROOT, "SPARK_LOCAL_IP": "127.0.0.1"}
    # Two workers; a task that is lost is tried again, up to four times.
    session = (
        sql.SparkSession.builder.master("local[2,4]").config("spark.ui.enabled", "false")
        .config("spark.driver.memory", "1g").getOrCreate()
    )
    try:
        yield session
    finally:
        session.stop()


@contextmanager
def dask() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="Dask is not installed: pip install 'rqa[dask]'")
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield client


ENGINES = {"pool": pool, "spark": spark, "dask": dask}


def page(place: Path, to: Path, engine: Any = None) -> tuple[bytes, list[tuple[Any, ...]]]:
    """The page of the latest month, byte by byte, and all findings."""
    to.mkdir()
    with rqa.open(place, engine=engine) as depot:
        return write_page(depot, to).path.read_bytes(), depot.findings().table.rows()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", ENGINES)
def test_the_page_and_all_findings_are_those_of_the_store(shelf: Shelf, tmp_path: Path, name: str) -> None:
    made = shelf.demo(JOBS)
    expected = shelf.thing(f"page of {JOBS}", lambda: page(made, tmp_path / "whole"))
    with ENGINES[name]() as engine:
        write_lake(made / "depot.duckdb", tmp_path / "lake", buckets=2, engine=engine)
        found = page(tmp_path / "lake", tmp_path / "spread", engine)
    assert found[1] == expected[1]
    assert found[0] == expected[0]


def tasks(lake: Path) -> list[Task]:
    state = current(lake)
    assert state is not None
    return [
        Task(str(lake), state.once, tuple(state.of_bucket(b).items()), "select count(*) as jobs from jobs")
        for b in range(state.buckets)
    ]


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", ["pool", "spark"])
def test_a_lost_worker(tmp_path: Path, name: str) -> None:
    """Spark runs its task again; a pool of processes says that it is broken. Dask may read a task in this process."""
    write_lake(stored(tmp_path, ROWS), tmp_path / "lake", buckets=2)
    asked = tasks(tmp_path / "lake")
    expected = [unpacked(run(task)).to_pylist() for task in asked]
    deadly: list[Any] = [Deadly(tmp_path / "flag", asked[0]), *asked[1:]]
    with ENGINES[name]() as engine:
        if name == "pool":
            with pytest.raises(StoreError, match="a process of the pool has ended"):
                spread(engine, deadly)
        else:
            assert [unpacked(one).to_pylist() for one in spread(engine, deadly)] == expected
    assert (tmp_path / "flag").exists()


@pytest.mark.slow
def test_threads_of_this_process(tmp_path: Path) -> None:
    store, lake = stored(tmp_path, ROWS), tmp_path / "lake"
    with ThreadPoolExecutor(2) as threads:
        write_lake(store, lake, buckets=2, engine=threads)
        with rqa.open(store) as whole, LakeStore(lake, threads) as opened:
            for measure in ("comebacks_rows", "escapes", "follow_up"):
                check_same(whole._store, opened, measure, ())


def test_an_engine_is_known_or_told() -> None:
    assert known(None) is None
    with pytest.raises(RequestError, match="not int"):
        known(3)
    for text in ("processes=0", "processes", "dask", "elsewhere"):
        with pytest.raises(RequestError, match="--engine is processes=8"), engine_of(text):
            pass
    with engine_of(None) as engine:
        assert engine is None


def test_load_and_review_a_lake_by_the_command(tmp_path: Path) -> None:
    folder, lake = tmp_path / "ws", tmp_path / "lake"
    folder.mkdir()
    (folder / "jobs.csv").write_text(
        "job_id,unit_id,model,site,procedure,opened_at,closed_at,disposition\n"
        "J1,U1,Marl-8,Alder,board,2026-01-05 08:00,2026-01-07 08:00,repaired\n"
        "J2,U1,Marl-8,Alder,board,2026-01-20 08:00,2026-01-22 08:00,repaired\n", encoding="utf-8",
    )
    (folder / "sources.toml").write_text(
        '[files.f]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n', encoding="utf-8"
    )
    done = CliRunner().invoke(main, ["load", str(folder), "--into", str(lake), "--buckets", "2"])
    assert done.exit_code == 0, done.output
    assert "2 buckets, " in done.output
    with rqa.open(lake) as depot:
        assert depot.query("select return_job_id from links where job_id = 'J1'").item() == "J2"
    refused = CliRunner().invoke(main, ["load", str(folder), "--engine", "processes=2"])
    assert refused.exit_code == 1
    assert "name its folder with --into" in refused.output
