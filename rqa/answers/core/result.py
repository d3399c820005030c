"""What an answer is: a table, what was asked, and what a careful reader must know; one type per question."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from html import escape
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar

from rqa.answers.core.readable import SHOWN_ROWS, columns_shown, plain_list, readable_table
from rqa.errors import RequestError
from rqa.words import counted, day_name, month_name, months_said, spoken

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    import polars as pl
    from numpy.typing import ArrayLike

    from rqa.answers.core.case_lists import CaseList
    from rqa.answers.core.finding import Finding
    from rqa.answers.core.job_lists import Asked, JobList

DIGITS = 6
"""Digits kept in shares, so that a stored notebook does not change with the last bit of a machine's arithmetic."""
SPANS = ("months", "before", "after")
"""Settings that hold a first and a last month."""
EMPTY = "There is nothing in the store that fits the question."


@dataclass(frozen=True, eq=False)
class Answer:
    """The answer to one question.

    `table` is a polars frame with the grouping columns first and a total order; `settings` echoes what was asked;
    `notes` says what a careful reader must know; `stated` holds what was compared, each as a statement with its
    p-value, and `findings` those of them that are statistically clear and of a size to act on. `asked_of` is
    what it was asked of.
    """

    table: "pl.DataFrame"
    settings: Mapping[str, object]
    notes: tuple[str, ...] = ()
    stated: "tuple[Finding, ...]" = ()
    asked_of: "Asked | None" = field(default=None, kw_only=True, repr=False)

    question: ClassVar[str] = "Answer"
    shown: ClassVar[tuple[str, ...]] = ()
    """The columns that a notebook or a terminal shows, where all are too many to be read."""
    units: ClassVar[Mapping[str, str]] = {}
    """The unit (`readable.UNITS`) of columns whose name does not tell it."""
    in_table_only: ClassVar[tuple[str, ...]] = ()
    """The columns that a notebook leaves out where all are more than ten."""
    needs: ClassVar[tuple[str, ...]] = ()
    """The grounds (`ground_list.GROUNDS`) without which nothing of it can be told, whatever is asked."""
    nothing_found: ClassVar[str] = EMPTY
    """What an empty table says, where that is no lack of data."""
    looks_at: ClassVar[tuple[str, ...]] = ()
    """The grounds (those named _there) without which an empty table says nothing of the jobs asked about."""
    apart: ClassVar[tuple[str, ...]] = ()
    """Of an answer that rests on units seen twice: the numbers that hold where no come-back can be seen."""
    of_comebacks: ClassVar[tuple[str, ...]] = ()
    """Of another answer: the columns that say something of come-backs all the same."""
    lists: ClassVar["CaseList | str"] = "Its rows are no counts of jobs."
    """Which jobs, checks or runs its counts are of (`case_lists.CaseList`); or why there is no list of them."""
    may_hold: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """The words that a column can have, where a row may be asked by one that no row of this table has."""
    judges_all: ClassVar[bool] = False
    """Whether an empty table says something of all comparisons that were made."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "settings", MappingProxyType(dict(self.settings)))
        object.__setattr__(self, "notes", tuple(self.notes))
        object.__setattr__(self, "stated", tuple(self.stated))

    @property
    def findings(self) -> "tuple[Finding, ...]":
        """What holds among all that this answer compared, at most one in twenty by chance."""
        from rqa.answers.core.finding import more_than_luck

        return more_than_luck(self.stated)

    def also_needs(self) -> tuple[str, ...]:
        """Further grounds, by what was asked."""
        return ()

    def listed(self) -> "CaseList | str":
        """How what it counts is listed, by what was asked; or why it is not."""
        return self.lists

    def listed_for(self, row: Mapping[str, object]) -> "tuple[CaseList | str, Mapping[str, object]]":
        """The same for one row, with what of its keys the list is to be asked by."""
        return self.listed(), row

    def jobs(self, count: str | None = None, /, *, people: bool = False, **row: object) -> "JobList":
        """List the jobs behind this answer, or behind one of its rows: as many as it counts.

        `row` names the row by its keys, such as model="Marl-10", month="2026-05"; without, the whole answer is meant.
        Any other grouping of the question narrows the list, too. `count` is a column of the answer, such as "matured";
        by default its first count. Where an answer counts checks, runs or steps, the list has a row for each of them,
        with its job. Where groups share jobs, the whole answer has each job once. `people`: whether technicians are
        named. See `rqa.answers.core.job_lists.JobList` for the columns.

        Raises `RequestError` for a key or value that the answer does not have, and where it counts no jobs.
        """
        return self._asked_of().jobs(self, count, people=people, row=row)

    def returned(self, *, people: bool = False, **row: object) -> "JobList":
        """List the jobs behind this answer, or one of its rows, that came back; as `jobs`, of the come-backs alone."""
        return self._asked_of().returned(self, people=people, row=row)

    def _asked_of(self) -> "Asked":
        if self.asked_of is None:
            raise RequestError("jobs: this answer was not asked of an open depot; ask it again with rqa.open(…).")
        return self.asked_of

    def to_pandas(self) -> "pd.DataFrame":
        """The table as a pandas frame."""
        return self.table.to_pandas()

    def to_csv(self, path: "str | Path") -> "Path":
        """Write the table as CSV; texts that look like formulas are made harmless. See `rqa.answers.core.exports`."""
        from rqa.answers.core.exports import to_csv

        return to_csv(self, path)

    def to_excel(self, path: "str | Path") -> "Path":
        """Write a workbook: table, what was asked, findings. See `rqa.answers.core.exports`."""
        from rqa.answers.core.exports import to_excel

        return to_excel(self, path)

    def to_html(self, path: "str | Path") -> "Path":
        """Write a page of its own that loads nothing. See `rqa.answers.core.exports`."""
        from rqa.answers.core.exports import to_html

        return to_html(self, path)

    @property
    def _seen(self) -> "pl.DataFrame":
        return self.table.select(self.shown or self.table.columns)

    def _unseen(self, seen: Sequence[str]) -> tuple[str, ...]:
        rest = [name for name in self.table.columns if name not in seen]
        return (f"{counted(len(rest), 'more column')} in .table: {', '.join(rest)}.",) if rest else ()

    def units_asked(self) -> Mapping[str, str]:
        """Units of columns, by what was asked."""
        return self.units

    def __repr__(self) -> str:
        lines = [self.question + _in_brackets(self.settings)]
        lines += _as_text(self._seen)
        lines += [f"note: {note}" for note in (*self._unseen(self._seen.columns), *self.notes)]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        seen = self.shown or columns_shown(self.table, self.in_table_only)
        more = self.table.height - SHOWN_ROWS
        notes = [f"{counted(more, 'more row')} in .table."] * (more > 0) + [*self._unseen(seen), *self.notes]
        return (
            f"<p><b>{escape(self.question)}</b> <span>{escape(_as_read(self.settings))}</span></p>"
            f"{readable_table(self.table, units=self.units_asked(), columns=seen)}"
            + (plain_list(notes) if notes else "")
        )


def names_of(by: Any) -> tuple[str, ...]:
    """The names in a setting that holds one, several or none."""
    return (by,) if isinstance(by, str) else tuple(by or ())


def with_shares(
    table: "pl.DataFrame", *, part: str, whole: str, share: str, level: float, design_effect: "ArrayLike" = 1.0
) -> "pl.DataFrame":
    """The table with a share of counts and its interval; null where there is no data.

    `design_effect`: how many times as much each share varies as that of independent cases (`core.job_clusters`).
    """
    import polars as pl

    from rqa.stats import proportion_interval

    r = proportion_interval(
        successes=table[part].to_numpy(), trials=table[whole].to_numpy(), level=level, design_effect=design_effect
    )
    columns = {share: r.estimate, "low": r.low, "high": r.high}
    return table.with_columns(pl.Series(name, rounded(values)) for name, values in columns.items())


def sums_by_group(table: "pl.DataFrame", by: Sequence[str], counted: str, **kinds: "pl.Expr") -> "pl.DataFrame":
    """A row a group, in the order of the groups, with the sum of a count over the rows of each kind."""
    import polars as pl

    sums = [pl.col(counted).filter(kind).sum().alias(name) for name, kind in kinds.items()]
    return table.group_by(by, maintain_order=True).agg(sums) if by else table.select(sums)


def rounded(values: Iterable[float]) -> "pl.Series":
    """Numbers to six digits, with null for what is not a number."""
    import polars as pl

    return pl.Series(list(values), dtype=pl.Float64).to_frame("").select(pl.all().fill_nan(None).round(DIGITS))[""]


def rounded_p_values(values: Iterable[float]) -> "pl.Series":
    """Chances to six significant digits, so that a small one does not become 0; null for what is not a number."""
    import polars as pl

    given = pl.Series(list(values), dtype=pl.Float64).to_frame("")
    return given.select(pl.all().fill_nan(None).round_sig_figs(DIGITS))[""]


def _in_brackets(settings: Mapping[str, object]) -> str:
    """What was asked, after a blank; nothing where there were no settings."""
    said = ", ".join(f"{name} {_setting(value)}" for name, value in settings.items() if value not in (None, (), {}, ""))
    return f" ({said})" if said else ""


def _as_read(settings: Mapping[str, object]) -> str:
    """What was asked, as a person reads it."""
    return "; ".join(
        f"{spoken(name)} {_value_read(name, value)}"
        for name, value in settings.items() if value not in (None, (), {}, "")
    )


def _value_read(name: str, value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{spoken(each)} = {_value_read(each, kept)}" for each, kept in value.items())
    if isinstance(value, Sequence) and not isinstance(value, str):
        if name in SPANS and len(value) == 2:
            return months_said(*value)
        return ", ".join(_value_read(name, one) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "level" and isinstance(value, float):
        return f"{value * 100:g} %"
    if isinstance(value, date):
        return month_name(value) if name == "month" else day_name(value)
    return str(value)


def _setting(value: object) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{name} = {_setting(kept)}" for name, kept in value.items())
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(_setting(one) for one in value)
    return value.isoformat() if isinstance(value, date) else str(value)


def _cell(value: Any) -> str:
    if value is None:
        return "no data"
    if isinstance(value, float):
        return f"{value:.4f}"
    if isinstance(value, int) and not isinstance(value, bool):
        return f"{value:,}"
    return str(value)


def _as_text(table: "pl.DataFrame") -> list[str]:
    rows = [[_cell(value) for value in row] for row in table.head(SHOWN_ROWS).iter_rows()]
    numeric = [dtype.is_numeric() for dtype in table.dtypes]
    widths = [max([len(name), *(len(row[i]) for row in rows)]) for i, name in enumerate(table.columns)]
    lines = []
    for row in [list(table.columns), *rows]:
        cells = (c.rjust(w) if right else c.ljust(w) for c, w, right in zip(row, widths, numeric, strict=True))
        lines.append("  ".join(cells).rstrip())
    more = table.height - SHOWN_ROWS
    return lines + [f"… {counted(more, 'more row')} in .table"] * (more > 0)
