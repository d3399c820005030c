"""The jobs behind a figure, one by one: `.jobs()` and `.returned()` of an answer, from the list its type names."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from rqa.answers.core.case_lists import CHOSEN, EVER, JOBS, RATE, CaseList, Count
from rqa.answers.core.kept_counts import parameters
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, names_of
from rqa.answers.core.scope import PERIODS, VALUES_OF, Snapshot, check_values, month_of
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.measures.groupings import names_only
from rqa.measures.run import counts, groupings, listing
from rqa.shown import told
from rqa.store.engine import TECHNICIAN
from rqa.words import counted, did_you_mean, enumerated, there_is

if TYPE_CHECKING:
    import polars as pl

NO_PERSON = (TECHNICIAN, "done_by")
"""Columns that are shown only where people are asked for."""
JOB_COLUMNS = (
    "job_id", "unit_id", "site", "model", "procedure", "opened_on", "closed_on", "disposition", "repaired",
    "days_out", "class", "found", "return_job_id", "lots", TECHNICIAN,
)
"""What a list says of every job."""
UNKNOWN = "unknown"
"""The group of what has no name."""
SHOWN_VALUES = 12
"""Values listed in an error about a row."""


@dataclass(frozen=True, eq=False, repr=False)
class JobList(Answer):
    """Jobs one by one: job_id, unit_id, site, model, procedure, opened_on, closed_on, disposition, repaired, days_out,
    class, found, cost, return_job_id, lots, and what the list says of each.

    repaired: what was found at fault in the job, or complained of. days_out, class, found, cost, return_job_id: of its
    return, where the unit came back by the as-of day: found is what was at fault then ("nothing" where no fault was
    found), cost what that come-back cost in the workspace's currency, null where it is not known. lots: part numbers
    and lots of what was fitted in the job. A list of checks or runs has a row a check or run, with its job.
    """

    question = "Jobs"
    in_table_only = ("opened_on", "disposition", "repaired", "return_job_id", TECHNICIAN)
    nothing_found = "No job is behind this figure."
    lists = "It lists jobs already: see its table."


@dataclass(frozen=True)
class Asked:
    """What an answer was asked of: a depot, as of one day."""

    snapshot: Snapshot

    def jobs(self, answer: Answer, count: str | None, *, people: bool, row: Mapping[str, object]) -> JobList:
        """The cases of one count of an answer, of one row or of all; see `Answer.jobs`."""
        return jobs_behind(self.snapshot, answer, count, people=people, row=row)

    def returned(self, answer: Answer, *, people: bool, row: Mapping[str, object]) -> JobList:
        """The come-backs behind an answer; see `Answer.returned`."""
        made, _ = _listed(answer, row)
        if made.returned not in made.counts:
            raise RequestError(
                f"returned: {answer.question.lower()} counts no come-backs. It counts "
                f'{enumerated(list(made.counts))}; ask, for example, .jobs("{next(iter(made.counts))}").'
            )
        return jobs_behind(self.snapshot, answer, made.returned, people=people, row=row)


def jobs_behind(
    snapshot: Snapshot, answer: Answer, count: str | None, *, people: bool, row: Mapping[str, object]
) -> JobList:
    """The cases of one count of an answer, of one row or of all; see `Answer.jobs`."""
    import polars as pl

    made, row = _listed(answer, row)
    if made.file == CHOSEN:
        return _own_jobs(snapshot, answer, people=people, row=row)
    name = next(iter(made.counts)) if count is None else count
    names_only("jobs", "count", (name,), tuple(made.counts))
    made = made.of(name)
    asked = _Asked(snapshot, answer, made, made.counts[name], row)
    table = listing(
        snapshot.store, made.file, as_of=snapshot.day, by=asked.by, where=asked.where, months=asked.months,
        values=_values(snapshot, answer, made), marks=asked.marks, kept=asked.kept,
    )
    if made.of_rows:
        table = _of_rows_shown(table, answer, made)
    # What tells counts apart is no news of a job.
    marks = [column for column, kind in table.schema.items() if kind == pl.Boolean]
    told_by = {made.keys.get(key, key) for key in (*made.whole, *made.of_rows, *row)}
    own = {"came_as", "closed_day", "opened_day", *asked.by, *marks, *told_by}
    shown = table.drop(own - set(JOB_COLUMNS), strict=False)
    shown = shown.unique(maintain_order=True) if made.of_rows else shown
    return _job_list(snapshot, answer, shown, made.rows, count=name, row=row, people=people)


def _of_rows_shown(table: "pl.DataFrame", answer: Answer, made: CaseList) -> "pl.DataFrame":
    """The cases of a list that belong to a row of the answer's table."""
    names = {key: made.keys.get(key, key) for key in made.of_rows}
    rows = answer.table.select(*names).rename(names)
    return table.join(rows, on=list(names.values()), how="semi", nulls_equal=True, maintain_order="left")


def _own_jobs(snapshot: Snapshot, answer: Answer, *, people: bool, row: Mapping[str, object]) -> JobList:
    """The jobs that the rows of an answer name themselves."""
    import polars as pl

    names_only("jobs", "key", row, answer.table.columns)
    types = answer.table.schema
    read = {name: _of_a_row(answer, name, _value(name, value, types[name])) for name, value in row.items()}
    kept = [pl.col(name).eq_missing(pl.lit(value)) for name, value in read.items()]
    named = answer.table.filter(pl.lit(True), *kept)["job_id"].drop_nulls().unique().sort().to_list()
    return jobs_named(snapshot, named, answer=answer, row=row, people=people)


def jobs_named(
    snapshot: Snapshot, named: Sequence[str], *, answer: Answer, row: Mapping[str, object], people: bool
) -> JobList:
    """Jobs by their ids, as a list."""
    table = listing(snapshot.store, CHOSEN, as_of=snapshot.day, values={"jobs": list(named)})
    return _job_list(snapshot, answer, table, JOBS, count="rows", row=row, people=people)


def _value(name: str, value: object, dtype: "pl.DataType | None" = None) -> object:
    """A value that a row is asked by: days and months may be given as texts."""
    import polars as pl

    if name == "month" and value is not None:
        return month_of("jobs", value)  # type: ignore[arg-type]
    if not isinstance(value, str) or not (name in PERIODS or isinstance(dtype, pl.Date | pl.Datetime)):
        return value
    try:
        return datetime.fromisoformat(value) if isinstance(dtype, pl.Datetime) else date.fromisoformat(value)
    except ValueError as error:
        raise RequestError(f"jobs: {name} is a day, written like 2026-05-31, not {told(value)}.") from error


def _of_a_row(answer: Answer, name: str, value: object) -> object:
    """The value as a row of the answer has it, or may have it; `RequestError` where none does."""
    there = answer.table[name].unique().sort().to_list()
    there += [value for value in answer.may_hold.get(name, ()) if value not in there]
    if value not in there:
        shown = enumerated([*map(str, there[:SHOWN_VALUES]), *(["…"] if len(there) > SHOWN_VALUES else [])])
        raise RequestError(
            f"jobs: no row of this answer has {name} {told(value)}. There is: {shown or 'none'}."
            f"{did_you_mean(str(value), [str(one) for one in there])}"
        )
    return there[there.index(value)]


def _listed(answer: Answer, row: Mapping[str, object]) -> tuple[CaseList, Mapping[str, object]]:
    made, asked = answer.listed_for(row)
    if isinstance(made, str):
        raise RequestError(f"jobs: {answer.question.lower()} has no list of jobs. {made}")
    return made, asked


def _values(snapshot: Snapshot, answer: Answer, made: CaseList) -> dict[str, object]:
    """The values of the list's file: what the answer was asked with, and what the store says."""
    s = answer.settings
    known: dict[str, object] = {
        **s, "as_of": snapshot.day, "disposition": s.get("index_disposition", "repaired"),
        "rate": float(snapshot.store.about.get(RATE, 0)), **made.values,
    }
    return {name: known[name] for name in parameters(made.file) if known.get(name) is not None}


class _Asked:
    """What of a list is behind the row asked for: groupings, filters, months, marks and conditions on its columns."""

    def __init__(
        self, snapshot: Snapshot, answer: Answer, made: CaseList, count: Count, row: Mapping[str, object]
    ) -> None:
        settings, allowed = answer.settings, groupings(made.file)
        self._snapshot, self._answer, self._made, self._count, self._allowed = snapshot, answer, made, count, allowed
        given = made.where if made.where is not None else settings.get("where")
        self.where: dict[str, tuple[str, ...]] = dict(given) if isinstance(given, Mapping) else {}
        self._check(row)
        classes = self.where.pop("class", ()) if "class" not in allowed else ()
        cause = settings.get("cause") or settings.get("classes")
        classes = classes or (cause if isinstance(cause, tuple) else ())
        # Groups of logs share jobs: of the whole answer each job is listed once.
        self.by = tuple(name for name in names_of(settings.get("by")) if name in PERIODS and name in allowed)
        months = settings.get("months")
        self.months: tuple[date, date] | None = months if isinstance(months, tuple) else None
        self.marks = [*count.marks]
        self.kept = [*count.kept]
        if count.classed and classes and set(classes) != set(CLASSES):
            self.kept.append(("came_as", "in", list(classes)))
        for name, value in {**made.whole, **row}.items():
            self._keep(name, self._read(name, value))
        # Which of the rows shown a case belongs to is told by its groups.
        of_rows = [name for name in made.of_rows if name in allowed and name not in self.by]
        self.by = (*self.by, *of_rows)
        # What has no date belongs to no row of an answer by month.
        self.kept += [(name, "is given", None) for name in PERIODS if name in self.by]

    def _keep(self, name: str, value: object) -> None:
        column = self._made.keys.get(name, name)
        if name in self._count.at:
            how = self._count.at[name]
            self.kept += [(*how, value)] if how else []
        elif name in self._count.per:
            self.marks += self._count.per[name][str(value)]
        elif column == "class" and "class" not in self._allowed:
            # Every class has the whole group beside it: only the come-backs are of one.
            self.kept += [("came_as", "=", value)] if self._count.classed and value in CLASSES else []
        elif column not in self._allowed:
            self.kept.append((column, "=", value))
        elif isinstance(value, str):
            named = self._parts(name, value)
            self.where[column] = tuple(one for one in named if one in self.where.get(column, named))
        else:
            self.by = self.by if column in self.by else (*self.by, column)
            self.kept.append((column, "=", value))

    def _parts(self, name: str, value: str) -> tuple[str, ...]:
        """The names that a key's value names: several where it joins them."""
        return tuple(value.split(self._made.joined[name])) if name in self._made.joined else (value,)

    def _read(self, name: str, value: object) -> object:
        column = self._made.keys.get(name, name)
        return _value(column if column in PERIODS else name, value)

    def _check(self, row: Mapping[str, object]) -> None:
        """Raise `RequestError` for a name that is no key of the answer, or a value that none of its rows has."""
        every = self._made.counts.values()
        keys = {*self._allowed, *self._made.keys, *self._made.whole, *(key for c in every for key in (*c.at, *c.per))}
        keys |= {"class"} if any(c.classed for c in every) else set()
        names_only("jobs", "key", row, sorted(keys))
        for name, given in row.items():
            value = self._read(name, given)
            if name not in self._answer.table.columns:
                if name in VALUES_OF:
                    named = tuple(one for one in self._parts(name, str(value)) if one != UNKNOWN)
                    check_values(self._snapshot.store, "jobs", {name: named})
                continue
            _of_a_row(self._answer, name, value)


def _job_list(
    snapshot: Snapshot, answer: Answer, table: "pl.DataFrame", rows: tuple[str, str], *, count: str,
    row: Mapping[str, object], people: bool,
) -> JobList:
    made = with_costs(snapshot, table, str(answer.settings.get("index_disposition", "repaired")))
    if not people:
        hidden = {*NO_PERSON, *snapshot.store.people, *(f"at_{name}" for name in snapshot.store.people)}
        made = made.drop([name for name in made.columns if name in hidden])
    jobs = made["job_id"].n_unique()
    said = counted(made.height, *rows)
    said = f"{said}." if rows == JOBS and jobs == made.height else f"{said} of {counted(jobs, 'job')}."
    settings = {"behind": answer.question, "count": count, **row, "as_of": snapshot.day}
    return JobList(made, settings, (said, *((PEOPLE,) if people else ())), asked_of=Asked(snapshot))


def with_costs(
    snapshot: Snapshot, table: "pl.DataFrame", disposition: str, *, beside: str = "found"
) -> "pl.DataFrame":
    """The jobs of a list in order of their closing, with what the come-back of each cost, behind a column."""
    import polars as pl

    costs = counts(
        snapshot.store, "listed_costs",
        values={
            "window": EVER, "as_of": snapshot.day, "disposition": disposition,
            "rate": float(snapshot.store.about.get(RATE, 0)),
        },
    )
    made = table.join(
        costs.select("job_id", (pl.col("cents") / 100).alias("cost")), on="job_id", how="left", maintain_order="left"
    )
    place = made.columns.index(beside) + 1
    names = [name for name in made.columns if name != "cost"]
    ordered = made.select(*names[:place], "cost", *names[place:])
    return ordered.sort("closed_on", "job_id", nulls_last=True, maintain_order=True)


def one_row(answer: Answer, row: Mapping[str, object], key: str) -> Mapping[str, Any]:
    """The row of an answer that its key names, where each row has a list of its own; `RequestError` for none."""
    import polars as pl

    there = answer.table[key].to_list()
    if key not in row and len(there) != 1:
        listed = enumerated([str(one) for one in there[:SHOWN_VALUES]]) or "none"
        raise RequestError(f"jobs: each row has a list of its own; name one by {key}. There is: {listed}.")
    value = row.get(key, there[0] if there else None)
    if value not in there:
        raise RequestError(f"jobs: there is no {key} {told(value)}. {there_is(str(value), map(str, there))}")
    return answer.table.row(by_predicate=pl.col(key).eq(pl.lit(value)), named=True)
