"""The front door: one open store, and the questions that can be put to it."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rqa.answers.as_of import moment_within
from rqa.answers.grounds import Grounds, grounds
from rqa.answers.needs import grounded
from rqa.answers.scope import By, Moment, Months, Where, moment, month_range
from rqa.comeback_questions import ComebackQuestions
from rqa.diagnostic_questions import DiagnosticQuestions
from rqa.improvement_questions import ImprovementQuestions
from rqa.risk_questions import RiskQuestions
from rqa.store.engine import ATTACHED, Store, open_store

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.chart_basis import Aside, Stages
    from rqa.answers.month import MonthAgainstBefore
    from rqa.answers.result import (
        CapabilityIndices,
        CleanJobs,
        ComebackCusum,
        Comebacks,
        Comparison,
        ControlChart,
        Defects,
        Failures,
        FirstPassYield,
        Learning,
        LoadedFiles,
        LooseEnds,
        Overlaps,
        Refused,
        Remarks,
        Rework,
        ReworkRoutes,
        RolledYield,
        TimeToDetect,
    )


class Depot(ComebackQuestions, RiskQuestions, DiagnosticQuestions, ImprovementQuestions):
    """A depot's store, open for reading, looked at as of one day.

    Every answer has `.table` (a polars frame), `.settings`, `.notes` and `.to_pandas()`, and can be drawn by
    `rqa.plot`. Groupings go into `by`, filters into `where` (`{"site": "Alder", "model": ["Marl-8"]}`, or as a
    text, `"site=Alder; model=Marl-8"`), months into `months` (`("2026-01", "2026-06")`, both ends included).
    """

    def __init__(self, store: Store, as_of: str | date | datetime | Moment | None = None) -> None:
        self._store = store
        self._now = as_of if isinstance(as_of, Moment) else moment(store, as_of)

    def __enter__(self) -> "Depot":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<depot {self._store.path.name} as of {self._now.day}>"

    @property
    def as_of(self) -> datetime:
        """The time at which the depot is looked at: the latest in the store unless another was given."""
        return self._now.at

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

    @grounded
    def comebacks(
        self,
        window: int = 30,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Comebacks":
        """Matured come-back rate; see `rqa.answers.comebacks`.

        Groupings: month, week, site, model, procedure, technician, billing, class, and step, bench, tool, phase or
        test, station.
        """
        from rqa.answers.comebacks import comebacks

        return comebacks(self._now, window=window, by=by, where=where, months=months, index=index, level=level)

    @grounded
    def first_pass_yield(
        self, by: By = ("step",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "FirstPassYield":
        """First-pass yield of steps, or of diagnostics with test or station; see `rqa.answers.first_pass_yield`.

        Groupings: month, week, site, model, procedure, technician, billing, and step, bench, tool, phase, shift,
        shift_hour, days_since_training or test, station.
        """
        from rqa.answers.first_pass_yield import first_pass_yield

        return first_pass_yield(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def rolled_yield(
        self, by: By = ("procedure",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "RolledYield":
        """Rolled throughput yield of procedures; see `rqa.answers.rolled_yield`.

        Groupings: procedure, with month, site, model, technician, billing.
        """
        from rqa.answers.rolled_yield import rolled_yield

        return rolled_yield(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def defects(
        self, by: By = ("step",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "Defects":
        """Defects per unit and per million opportunities, and their sigma level; see `rqa.answers.defect_counts`.

        Groupings: month, week, site, model, procedure, technician, billing, step, bench, tool, phase.
        """
        from rqa.answers.defect_counts import defects

        return defects(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def failures(
        self,
        by: By = ("step", "fault"),
        where: Where | None = None,
        months: Months | None = None,
        level: float = 0.95,
    ) -> "Failures":
        """What failed most, with cumulative shares; see `rqa.answers.failure_pareto`.

        Groupings: month, week, site, model, procedure, technician, billing, step, bench, tool, phase, fault.
        """
        from rqa.answers.failure_pareto import failures

        return failures(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def rework(
        self, by: By = ("step",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "Rework":
        """Steps done again, and the time and labour that took; see `rqa.answers.rework_loops`.

        Groupings: month, week, site, model, procedure, technician, billing, step, bench, tool, phase.
        """
        from rqa.answers.rework_loops import rework

        return rework(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def rework_routes(
        self, by: By = ("step",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "ReworkRoutes":
        """Where failed checks sent the job; see `rqa.answers.rework_loops`. Groupings as of `rework`."""
        from rqa.answers.rework_loops import rework_routes

        return rework_routes(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def learning(self, where: Where | None = None, least: int = 100, level: float = 0.95) -> "Learning":
        """First-pass yield against practice, by technician and procedure; see `rqa.answers.practice_curves`.

        Filters: technician, procedure.
        """
        from rqa.answers.practice_curves import learning

        return learning(self._now, where=where, least=least, level=level)

    @grounded
    def clean_jobs(
        self, by: By = (), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "CleanJobs":
        """Share of jobs that passed every check first time; see `rqa.answers.clean_jobs`.

        Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.clean_jobs import clean_jobs

        return clean_jobs(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def compare(
        self,
        who: str = "technician",
        outcome: str = "first_pass",
        window: int = 30,
        mix: By = ("model", "procedure", "billing"),
        where: Where | None = None,
        months: Months | None = None,
        least: int = 30,
        method: str = "auto",
        spread: bool = True,
        level: float = 0.95,
    ) -> "Comparison":
        """Technicians, benches, tools, stations or sites against what their own mix of work brings.

        Outcomes: first_pass, first_run, comeback, clean_job. See `rqa.answers.comparison`.
        """
        from rqa.answers.comparison import compare

        return compare(
            self._now, who=who, outcome=outcome, window=window, mix=mix, where=where, months=months, least=least,
            method=method, spread=spread, level=level,
        )  # fmt: skip

    @grounded
    def control_chart(
        self,
        measure: str = "comebacks",
        by: By = (),
        period: str = "month",
        window: int = 30,
        where: Where | str | None = None,
        months: Months | None = None,
        chart: str = "auto",
        limits: str | None = None,
        rules: str | None = None,
        baseline: Months | Sequence[date] | None = None,
        stages: "Stages" = (),
        set_aside: "Aside | None" = None,
    ) -> "ControlChart":
        """Control chart of a measure by month or week; see `rqa.answers.control_chart`.

        Measures: comebacks, first_pass_yield, first_run_pass, clean_jobs, failed_checks, labour_minutes, step_values,
        test_values, jobs_between_comebacks, days_between_comebacks.
        """
        from rqa.answers.control_chart import control_chart

        return control_chart(
            self._now, measure, by=by, period=period, window=window, where=where, months=months, chart=chart,
            limits=limits, rules=rules, baseline=baseline, stages=stages, set_aside=set_aside,
        )  # fmt: skip

    @grounded
    def comeback_cusum(
        self,
        by: By = (),
        window: int = 30,
        where: Where | None = None,
        odds: float = 2.0,
        adjusted: bool = True,
        baseline: Months | None = None,
        quiet_months: float = 60.0,
    ) -> "ComebackCusum":
        """Come-backs watched job by job against what the mix of work explains; see `rqa.answers.comeback_cusum`."""
        from rqa.answers.comeback_cusum import comeback_cusum

        return comeback_cusum(
            self._now, by=by, window=window, where=where, odds=odds, adjusted=adjusted, baseline=baseline,
            quiet_months=quiet_months,
        )  # fmt: skip

    @grounded
    def time_to_detect(
        self,
        measure: str = "comebacks",
        change: float = 1.5,
        by: By = (),
        window: int = 30,
        where: Where | None = None,
        chance: float = 0.9,
    ) -> "TimeToDetect":
        """Weeks until a chart sees a share change, at this depot's volume; see `rqa.answers.time_to_detect`."""
        from rqa.answers.time_to_detect import time_to_detect

        return time_to_detect(self._now, measure, change=change, by=by, window=window, where=where, chance=chance)

    @grounded
    def capability(
        self,
        measure: str = "test_values",
        by: By | None = None,
        where: Where | None = None,
        months: Months | None = None,
        lower_limit: float | None = None,
        upper_limit: float | None = None,
        method: str = "auto",
        level: float = 0.95,
    ) -> "CapabilityIndices":
        """By what margin measured tests and steps keep within their limits; see `rqa.answers.capability`."""
        from rqa.answers.capability import capability

        return capability(
            self._now, measure, by=by, where=where, months=months, lower_limit=lower_limit, upper_limit=upper_limit,
            method=method, level=level,
        )  # fmt: skip

    def month_against_before(
        self,
        measure: str = "comebacks",
        month: str | date | None = None,
        before: int = 12,
        window: int = 30,
        where: Where | None = None,
    ) -> "MonthAgainstBefore | None":
        """One month against the mature months before it: better, worse or same, and whether it is more than luck."""
        from rqa.answers.month import month_against_before

        return month_against_before(self._now, measure, month=month, before=before, window=window, where=where)

    def grounds(self, months: Months | None = None, window: int = 30) -> Grounds:
        """What there is to rest a statement on, in the jobs closed in `months` too; see `rqa.answers.grounds`."""
        return grounds(self._now, months=month_range("grounds", months), window=window)

    @grounded
    def overlaps(self) -> "Overlaps":
        """Jobs that overlap in time on one unit, left out of linking."""
        from rqa.answers.intake_report import overlaps

        return overlaps(self._now)

    @grounded
    def loaded(self) -> "LoadedFiles":
        """What each load made of each file."""
        from rqa.answers.intake_report import loaded

        return loaded(self._now)

    @grounded
    def refused(self) -> "Refused":
        """Why rows were refused."""
        from rqa.answers.intake_report import refused

        return refused(self._now)

    @grounded
    def remarks(self) -> "Remarks":
        """What was accepted and deserves a look."""
        from rqa.answers.intake_report import remarks

        return remarks(self._now)

    @grounded
    def loose_ends(self) -> "LooseEnds":
        """What to chase in the logs before trusting the figures."""
        from rqa.answers.intake_report import loose_ends

        return loose_ends(self._now)

    def query(self, sql: str, params: Mapping[str, object] | Sequence[object] | None = None) -> "pl.DataFrame":
        """Ask with one SELECT of your own: the eleven tables of the data dictionary, the load's books and kept tables.

        Values are bound: `depot.query("select … where site = $site", {"site": "Alder"})`. Whole numbers come as 64-bit
        integers, decimals as doubles. Nothing can be written. `views()` lists what there is.
        """
        return self._store.ask(sql, params)

    def views(self) -> "pl.DataFrame":
        """What `query` can read: view, column, type."""
        return self._store.ask(
            "select table_name as view, column_name as column, data_type as type from duckdb_columns() "
            f"where database_name = '{ATTACHED}' and schema_name = 'main' and not internal "
            "order by table_name, column_index"
        )


def open(path: str | Path, as_of: str | date | datetime | None = None) -> Depot:
    """Open a store for reading: a workspace folder, or its `depot.duckdb`.

    `as_of` is the day (or time) to look at the depot from; by default the latest time in the store. A later one, up to
    today, is taken as that time, and a note says so: jobs mature no further than they were followed. Raises
    `RequestError` for a day before the data or still to come, `StoreError` when there is no store, it is locked by
    another program, or of another version.
    """
    store = open_store(path)
    try:
        return Depot(store, moment_within(store, as_of))
    except BaseException:
        store.close()
        raise
