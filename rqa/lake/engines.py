"""Who runs the tasks of a lake: this process, a pool of processes, Dask or Spark; each runs the same function.

Nothing of Spark or Dask is imported here unless it is asked for by name; an engine that is handed in is known by what
it is.
"""

import pickle
from collections.abc import Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor
from contextlib import contextmanager
from typing import Any

from rqa.errors import RequestError, StoreError
from rqa.lake.bucket import Task, run

Engine = Any
"""A `concurrent.futures.Executor`, a Dask `Client`, a `SparkSession`, or None: this process."""
KINDS = "processes=8, spark://HOST:PORT, local[2] (Spark on this machine) or dask tcp://HOST:PORT"


def known(engine: Engine) -> Engine:
    """The engine, if it is one; raises `RequestError` for anything else."""
    if engine is None or isinstance(engine, Executor) or _room(engine) in ("distributed", "pyspark"):
        return engine
    raise RequestError(
        "engine is an Executor of concurrent.futures, a Dask Client, a SparkSession or None, "
        f"not {type(engine).__name__}."
    )


def spread(engine: Engine, tasks: Sequence[Task]) -> list[bytes]:
    """Run all tasks, and give what each gives, in their order. Raises `StoreError` where workers are lost for good."""
    if known(engine) is None or not tasks:
        return [run(task) for task in tasks]
    if isinstance(engine, Executor):
        try:
            return list(engine.map(run, tasks))
        except BrokenExecutor as error:
            raise StoreError("a process of the pool has ended and its counts are lost; ask with a new pool.") from error
    if _room(engine) == "distributed":
        found: list[bytes] = engine.gather(engine.map(run, tasks, pure=False))
        return found
    return _by_spark(engine, tasks)


def _room(engine: Engine) -> str:
    return type(engine).__module__.split(".")[0]


def _by_spark(session: Any, tasks: Sequence[Task]) -> list[bytes]:
    """One partition a task; Spark runs it again on another worker where one is lost."""
    sent = [pickle.dumps(task) for task in tasks]

    def run_rows(batches: Iterator[Any]) -> Iterator[Any]:
        import pyarrow as pa

        for batch in batches:
            for place in batch.column(0).to_pylist():
                result = run(pickle.loads(sent[place]))
                yield pa.RecordBatch.from_arrays([pa.array([place]), pa.array([result], pa.binary())], ["id", "result"])

    frame = session.range(0, len(sent), 1, len(sent)).mapInArrow(run_rows, "id long, result binary")
    found = frame.toArrow().sort_by("id").column("result").to_pylist()
    return [bytes(result) for result in found]


@contextmanager
def engine_of(text: str | None) -> Iterator[Engine]:
    """The engine that a text names, ended afterwards. Raises `RequestError` for what is none, or is not installed."""
    word, _, rest = (text or "").partition("=" if (text or "").startswith("processes") else " ")
    try:
        if not text:
            yield None
        elif word == "processes" and rest.isdecimal() and int(rest) > 0:
            from concurrent.futures import ProcessPoolExecutor
            from multiprocessing import get_context

            with ProcessPoolExecutor(int(rest), mp_context=get_context("spawn")) as pool:
                yield pool
        elif text.startswith(("spark://", "local[")):
            from pyspark.sql import SparkSession

            session = SparkSession.builder.master(text).appName("rqa").getOrCreate()
            try:
                yield session
            finally:
                session.stop()
        elif word == "dask" and rest:
            from distributed import Client

            with Client(rest) as client:
                yield client
        else:
            raise RequestError(f"--engine is {KINDS}, not {text!r}.")
    except ModuleNotFoundError as error:
        if error.name not in ("pyspark", "distributed"):
            raise
        extra = {"pyspark": "spark", "distributed": "dask"}[error.name]
        raise RequestError(f"{error.name} is not installed; pip install 'rqa[{extra}]' brings it.") from error
