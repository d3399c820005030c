"""A lake on each engine that is installed: `python shared/lake_on_engines.py FOLDER`, an empty folder to work in."""

import os
import shutil
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib.util import find_spec
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import rqa
from rqa.demo import write


def engines() -> Iterator[tuple[str, Any]]:
    """Each engine with its name; None is this process."""
    yield "this process", None
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        yield "a pool of two processes", pool
    if find_spec("distributed"):
        from distributed import Client, LocalCluster

        with LocalCluster(n_workers=2, dashboard_address=None) as cluster, Client(cluster) as client:
            yield "Dask", client
    if find_spec("pyspark") and shutil.which("java"):
        from pyspark.sql import SparkSession

        os.environ |= {"PYSPARK_PYTHON": sys.executable, "SPARK_LOCAL_IP": "127.0.0.1"}
        session = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
        yield "Spark", session
        session.stop()


def main(folder: Path) -> None:
    """Load a small depot into a lake, and ask the same of it on every engine."""
    write(folder / "depot", jobs=300, plain=True)
    rqa.load(folder / "depot", into=folder / "lake", buckets=3)
    with rqa.open(folder / "depot") as depot:
        expected = depot.comebacks(by=("model", "technician")).table
    print(expected)
    for name, engine in engines():
        with rqa.open(folder / "lake", engine=engine) as depot:
            same = depot.comebacks(by=("model", "technician")).table.equals(expected)
        print(f"{name}: {'the same' if same else 'DIFFERENT'}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
