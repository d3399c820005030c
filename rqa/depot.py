"""The front door: one open store, and the questions that can be put to it."""

import warnings
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import cached_property
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING

from rqa.answers.charts.control_chart import control_chart as _control_chart
from rqa.answers.comebacks.costs import costs as _costs
from rqa.answers.comebacks.lot import lot as _lot
from rqa.answers.comebacks.projection import projection as _projection
from rqa.answers.comebacks.rate import comebacks as _comebacks
from rqa.answers.comebacks.unit_history import unit as _unit
from rqa.answers.compare.comparison import compare as _compare
from rqa.answers.compare.own_work_sheet import technician as _technician
from rqa.answers.compare.periods_compared import between as _between
from rqa.answers.core.as_of import snapshot_within
from rqa.answers.core.grounds import Grounds, grounds
from rqa.answers.core.scope import Months, Snapshot, month_range, snapshot_at
from rqa.answers.improve.findings import findings as _findings
from rqa.answers.improve.verdicts import verdicts as _verdicts
from rqa.answers.steps.job_history import job as _job
from rqa.answers.yields.first_pass import first_pass_yield as _first_pass_yield
from rqa.asking import question
from rqa.errors import RequestError
from rqa.measures.run import measure_sql
from rqa.narrowed import NOTHING, Narrowing, narrowing
from rqa.questions.earlier import EARLIER
from rqa.store.engine import Store, open_store
from rqa.words import did_you_mean

if TYPE_CHECKING:
    import polars as pl

    from rqa.lake.engines import Engine
    from rqa.questions.actions import Actions
    from rqa.questions.charts import Charts
    from rqa.questions.data import Data
    from rqa.questions.returns import Returns
    from rqa.questions.steps import Steps
    from rqa.questions.tests import Tests
    from rqa.questions.yields import Yields


class Depot:
    """A depot's store, open for reading, looked at as of one day.

    Every answer has `.table` (a polars frame), `.settings`, `.notes` and `.to_pandas()`, and can be drawn by
    `rqa.plot`. Groupings go into `by`, filters into `where` (`{"site": "Alder", "model": ["Marl-8"]}`, or as a
    text, `"site=Alder; model=Marl-8"`), months into `months` (`("2026-01", "2026-06")`, both ends included).
    """

    def __init__(
        self, store: Store, as_of: str | date | datetime | Snapshot | None = None, narrowed: Narrowing = NOTHING
    ) -> None:
        self._store, self._narrowed = store, narrowed
        self._snapshot = as_of if isinstance(as_of, Snapshot) else snapshot_at(store, as_of)

    def __enter__(self) -> "Depot":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        only = f", {self._narrowed.said}" if self._narrowed.said else ""
        return f"<depot {self._store.path.name} as of {self._snapshot.day}{only}>"

    @property
    def limits(self) -> dict[str, object]:
        """What `limited_to` was given to get this depot; empty for a whole one."""
        given = self._narrowed
        where = {name: values[0] if len(values) == 1 else list(values) for name, values in given.where.items()}
        others = {"months": given.months, "window": given.window}
        return where | {name: value for name, value in others.items() if value is not None}

    @property
    def limited(self) -> str:
        """The filters and months this depot is limited to, as a text; "" for a whole one."""
        return self._narrowed.said

    def limited_to(
        self, *, months: Months | None = None, window: int | None = None, **where: str | Sequence[str] | None
    ) -> "Depot":
        """The same depot, of which every question is asked of some sites, models, procedures or months only.

        Takes filters by name (site, model, procedure, billing, step, test, station), each a value, a list or None for
        all; closing months; and the window of come-backs, in days. What a question is given itself comes first; a note
        says what a question cannot be narrowed by. `query` is not narrowed. Raises `RequestError` for what is not in
        the store.

        >>> depot.limited_to(site="Alder", window=90).comebacks().table.row(0, named=True)["jobs"]
        908

        Repaired jobs closed at Alder.
        """
        return Depot(self._store, self._snapshot, narrowing(self._snapshot, where, months, window))

    @property
    def as_of(self) -> datetime:
        """The time at which the depot is looked at: the latest in the store unless another was given."""
        return self._snapshot.at

    @property
    def path(self) -> Path:
        """The store's file."""
        return self._store.path

    @property
    def about(self) -> dict[str, str]:
        """The workspace's title and currency, the store's format, and the version of rqa that wrote it."""
        return dict(self._store.about)

    @property
    def people(self) -> frozenset[str]:
        """The groupings that name people: technician, and those that the mapping marks with `person = true`."""
        return self._store.people

    @property
    def newer(self) -> bool:
        """Whether the store was loaded again since it was opened; open it anew to see that."""
        return self._store.newer

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()

    comebacks = question(_comebacks)
    first_pass_yield = question(_first_pass_yield)
    compare = question(_compare)
    between = question(_between)
    control_chart = question(_control_chart)
    projection = question(_projection)
    findings = question(_findings)
    verdicts = question(_verdicts)
    costs = question(_costs)
    unit = question(_unit)
    job = question(_job)
    lot = question(_lot)
    technician = question(_technician)

    @cached_property
    def returns(self) -> "Returns":
        """When units come back, why, how often, and what that makes of a unit or a cohort."""
        from rqa.questions.returns import Returns

        return Returns(self._snapshot, self._narrowed)

    @cached_property
    def yields(self) -> "Yields":
        """What passed first time, what failed, what was done again, and what practice brings."""
        from rqa.questions.yields import Yields

        return Yields(self._snapshot, self._narrowed)

    @cached_property
    def charts(self) -> "Charts":
        """Measures over time beside the control chart: the job-by-job CUSUM, detection, capability."""
        from rqa.questions.charts import Charts

        return Charts(self._snapshot, self._narrowed)

    @cached_property
    def steps(self) -> "Steps":
        """Which steps send units back, how they were done, and where failures bunch."""
        from rqa.questions.steps import Steps

        return Steps(self._snapshot, self._narrowed)

    @cached_property
    def tests(self) -> "Tests":
        """The diagnostics as a measuring system: what they catch, what escapes, whether to rely on them."""
        from rqa.questions.tests import Tests

        return Tests(self._snapshot, self._narrowed)

    @cached_property
    def actions(self) -> "Actions":
        """Whether actions worked, what they spared, what it takes to see a change, and goals."""
        from rqa.questions.actions import Actions

        return Actions(self._snapshot, self._narrowed)

    @cached_property
    def data(self) -> "Data":
        """What was loaded, refused and remarked on, and what is missing from the logs."""
        from rqa.questions.data import Data

        return Data(self._snapshot, self._narrowed)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            if name not in EARLIER:
                raise AttributeError(f"a depot has no {name!r}.{did_you_mean(name, dir(self))}")
            new = EARLIER[name]
            warnings.warn(
                f"depot.{name} is depot.{new} now; the old name goes with version 0.3.", DeprecationWarning, 2
            )
            return attrgetter(new)(self)

    def grounds(self, months: Months | None = None, window: int = 30) -> Grounds:
        """What there is to rest a statement on, in the jobs closed in `months` too; see `rqa.answers.core.grounds`."""
        return grounds(self._snapshot, months=month_range("grounds", months), window=window)

    def query(self, sql: str, params: Mapping[str, object] | Sequence[object] | None = None) -> "pl.DataFrame":
        """Ask with one SELECT of your own: the eleven tables of the data dictionary, the load's books and kept tables,
        and the views and table macros that `data.views()` explains.

        Values are bound: `depot.query("select … where site = $site", {"site": "Alder"})`. Whole numbers come as 64-bit
        integers, decimals as doubles. Nothing can be written. `views()` lists what there is.

        >>> depot.query("select count(*)::bigint as jobs from jobs where site = $site", {"site": "Alder"}).item()
        1063

        Alder's jobs in the store.
        """
        return self._store.ask(sql, params)

    def views(self) -> "pl.DataFrame":
        """The tables and views that `query` can read: view, column, type; `data.views()` has the table macros, too."""
        return self._store.ask(measure_sql("readable_columns"))


def open(path: str | Path, as_of: str | date | datetime | None = None, *, engine: "Engine" = None) -> Depot:
    """Open a store for reading: a workspace folder, its `depot.duckdb`, or a lake that `load(…, into=…)` made.

    `as_of` is the day (or time) to look at the depot from; by default the latest time in the store. A later one, up to
    today, is taken as that time, and a note says so: jobs mature no further than they were followed. `engine` counts
    the buckets of a lake: an `Executor` of concurrent.futures, a Dask `Client` or a `SparkSession`; None counts them
    here, one after another.

    Raises `RequestError` for a day before the data or still to come, and for an engine where there is no lake. Raises
    `StoreError` when there is no store, it is locked by another program, or of another version.
    """
    store = _opened(path, engine)
    try:
        return Depot(store, snapshot_within(store, as_of))
    except BaseException:
        store.close()
        raise


def _opened(path: str | Path, engine: "Engine") -> Store:
    from rqa.lake.layout import is_lake

    if is_lake(Path(path)):
        from rqa.lake.store import LakeStore

        return LakeStore(Path(path), engine)
    if engine is not None:
        raise RequestError(f"{path} is no lake, so there is nothing for an engine to do; leave engine out.")
    return open_store(path)
