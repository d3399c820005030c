"""What follow-up estimates are made from: by group and day, how many came back, retired, or were followed so far."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.own_work import hang_on_found, untold_classes
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_one_of,
    check_values,
    scope,
    whole_number,
)
from rqa.answers.core.told_sites import told_scope
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES, PARTS_LIST, STEP_LOG, TEST_LOG, names_only
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

Counts = NDArray[np.int64]
Cause = str | tuple[str, ...] | list[str] | None

WHOLE = (*PERIODS, *JOB_NAMES)
"""Groupings under which a job counts once."""
GROUPINGS = (*WHOLE, *STEP_LOG, *TEST_LOG, *PARTS_LIST)
LOGS = {
    "step": (STEP_LOG, "step log"),
    "test": (TEST_LOG, "diagnostics"),
    "part": (PARTS_LIST, "parts list"),
}
INDEX_DISPOSITIONS = ("repaired", "no_fault_found")
LONGEST = 3650


@dataclass(frozen=True, eq=False)
class FollowUp:
    """Counts by group and day, days from 0 to one beyond `upto`, which holds all that lies after.

    `groups` is a frame with a row a group; `returned` has a last axis of classes, in the contract's order.
    """

    asked: Scope
    groups: "pl.DataFrame"
    day: Counts
    returned: Counts
    retired: Counts
    followed: Counts

    @property
    def jobs(self) -> Counts:
        """Jobs of each group."""
        return self.returned.sum(axis=(1, 2)) + self.retired.sum(axis=1) + self.followed.sum(axis=1)

    @property
    def back(self) -> Counts:
        """Returns of any class."""
        return self.returned.sum(axis=2)

    @property
    def censored(self) -> Counts:
        """Last seen without a return, retired or not."""
        return self.retired + self.followed

    @property
    def overlapping(self) -> bool:
        """Whether a job counts in several groups."""
        return not self.asked.named <= {*WHOLE}


def days_asked(question: str, name: str, value: object) -> int:
    """A number of days, 0 or more, or `RequestError`."""
    return whole_number(question, name, value, 0, LONGEST, of="days")


def check_index_disposition(question: str, index_disposition: str) -> None:
    """Raise `RequestError` unless the index jobs are of a known kind."""
    check_one_of(question, "index_disposition", index_disposition, INDEX_DISPOSITIONS)


def causes_asked(question: str, cause: Cause) -> tuple[str, ...]:
    """The classes that count, none for all."""
    if cause is None:
        return ()
    wanted = (cause,) if isinstance(cause, str) or not isinstance(cause, Iterable) else tuple(cause)
    names_only(question, "class", wanted, CLASSES)
    if not wanted or len(set(wanted)) < len(wanted):
        raise RequestError(f"{question}: cause names a class, or several once each: {cause!r}.")
    return wanted


def follow_up(
    question: str,
    snapshot: Snapshot,
    *,
    by: By,
    where: Where | None,
    months: Months | None,
    index_disposition: str,
    upto: int,
    classes: Iterable[tuple[str, ...]] = (),
    allowed: tuple[str, ...] = GROUPINGS,
) -> FollowUp:
    """Count how the follow-up of index jobs ended, by group and day.

    `classes` are those of come-backs that count together, where they are told apart: jobs of sites at which they cannot
    be are left out.
    """
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=months, allowed=allowed)
    check_values(snapshot.store, question, asked.where)
    asked = told_scope(snapshot, asked, *classes)
    measure, beside = followed_by(measure_for(question, asked, "follow_up"))
    table = counts(
        snapshot.store, measure, by=asked.by, where=asked.where, months=asked.months,
        values={"upto": upto, "as_of": snapshot.day, "disposition": index_disposition, **beside},
    )
    return _dense(table, asked, upto)


def followed_by(measure: str) -> tuple[str, Mapping[str, object]]:
    """The file that counts a follow-up, and what it is given beside: by step that of come-backs, without a window."""
    return ("comebacks_by_step", {"window": None}) if measure == "follow_up_by_step" else (measure, {})


def measure_for(question: str, asked: Scope, measure: str) -> str:
    """The file that knows the names asked for."""
    logs = [(names, suffix, said) for suffix, (names, said) in LOGS.items() if asked.named & {*names}]
    if len(logs) > 1:
        listed = " and ".join(f"{', '.join(n for n in names if n in asked.named)} ({said})" for names, _, said in logs)
        raise RequestError(f"{question}: {listed} cannot be combined in one call. Make two calls.")
    return f"{measure}_by_{logs[0][1]}" if logs else measure


def group_numbers(table: "pl.DataFrame", by: tuple[str, ...]) -> "tuple[pl.DataFrame, Counts]":
    """A row a group, in order, and the number of the group that each row of the table belongs to."""
    import polars as pl

    if not by:
        return pl.DataFrame({"_": [0] * (table.height > 0)}).select([]), np.zeros(table.height, dtype=np.int64)
    groups = table.select(by).unique().sort(by)
    numbered = groups.with_row_index("_group")
    place = table.select(by).join(numbered, on=list(by), how="left", nulls_equal=True, maintain_order="left")["_group"]
    return groups, place.to_numpy().astype(np.int64)


def _dense(table: "pl.DataFrame", asked: Scope, upto: int) -> FollowUp:
    groups, group = group_numbers(table, asked.by)
    number = groups.height if asked.by else int(table.height > 0)
    outcomes = (*CLASSES, "retired", "followed")
    place = np.array([outcomes.index(o) for o in table["outcome"].to_list()], dtype=np.int64)
    full = np.zeros((number, upto + 2, len(outcomes)), dtype=np.int64)
    np.add.at(full, (group, table["day"].to_numpy(), place), table["jobs"].to_numpy())
    return FollowUp(
        asked=asked, groups=groups, day=np.arange(upto + 2), returned=full[..., : len(CLASSES)],
        retired=full[..., -2], followed=full[..., -1],
    )


def notes_on(snapshot: Snapshot, seen: FollowUp, index_disposition: str, *, competing: bool = False) -> list[str]:
    """What holds for every follow-up estimate."""
    notes = [*snapshot.notes, *seen.asked.left_out]
    retired = int(seen.retired.sum())
    if retired and not seen.overlapping:
        fate = "counted as another end beside the come-backs" if competing else "followed until then"
        jobs = counted(retired, "job")
        notes.append(f"{jobs} whose unit left service without coming back: {fate}.")
    left_out = counts(snapshot.store, "overlap_count").row(0, named=True)
    if left_out["jobs"]:
        notes.append(
            f"{counted(left_out['jobs'], 'job')} on {counted(left_out['units'], 'unit')} of the store overlap in time "
            "and are left out."
        )
    for names, said in LOGS.values():
        if seen.asked.named & {*names}:
            notes.append(f"A job counts once under each group its {said} names, so the groups share jobs.")
    if index_disposition != "repaired":
        notes.append("Index jobs are those closed as no_fault_found; their share is not that of repairs.")
    return notes


def told(
    snapshot: Snapshot, wanted: tuple[str, ...], columns: "Mapping[str, NDArray[Any]]"
) -> "tuple[bool, dict[str, NDArray[Any]]]":
    """Whether the classes wanted can be told apart in the store; and the columns, their shares no data where not."""
    known = not (hang_on_found(wanted) and untold_classes(snapshot))
    shares = [name for name, values in columns.items() if not np.issubdtype(values.dtype, np.integer)]
    return known, {**columns, **({} if known else {name: np.full(columns[name].shape, np.nan) for name in shares})}


def by_day(seen: FollowUp, upto: int, columns: "Mapping[str, NDArray[Any]]", at_risk: Counts) -> "pl.DataFrame":
    """A row a group and day, as long as anybody was at risk, from arrays of groups by days; null for no data."""
    import polars as pl

    shown = at_risk[:, : upto + 1] > 0
    group, day = np.nonzero(shown)
    series = [seen.groups[name].gather(group) for name in seen.asked.by]
    series.append(pl.Series("day", seen.day[day], dtype=pl.Int64))
    series += [column(name, values[:, : upto + 1][shown]) for name, values in columns.items()]
    return pl.DataFrame(series)


def by_group(seen: FollowUp, columns: "Mapping[str, NDArray[Any]]") -> "pl.DataFrame":
    """A row a group, from arrays of groups; null for no data."""
    import polars as pl

    names = [seen.groups[name] for name in seen.asked.by]
    return pl.DataFrame([*names, *(column(name, values) for name, values in columns.items())])


def column(name: str, values: "NDArray[Any]") -> "pl.Series":
    """Whole numbers as they are, others to six digits with null for no data."""
    import polars as pl

    from rqa.answers.core.result import rounded

    if np.issubdtype(values.dtype, np.integer):
        return pl.Series(name, values, dtype=pl.Int64)
    return rounded(values.tolist()).alias(name)
