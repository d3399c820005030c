"""The mess of real exports, planted and counted: each kind says what the load must make of such a row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

COPIED = ("row sent twice",)


@dataclass(frozen=True)
class MessKind:
    """One kind of mess: the verdict on such a row, and the rule it breaks or the remark it earns."""

    verdict: str
    said: str = ""


KINDS = {
    "row sent twice": MessKind("known"),
    "sent again in the next file": MessKind("known"),
    "unit id in another case": MessKind("accepted"),
    "closing time missing": MessKind("refused", "closing time missing though the job is not open"),
    "closing time sent later": MessKind("accepted"),
    "closed before it was opened": MessKind("refused", "closed before it was opened"),
    "day that does not exist": MessKind("refused", "not a date and time in the given formats"),
    "unknown end state": MessKind("refused", "not one of"),
    "corrected later": MessKind("superseded"),
    "correction": MessKind("accepted"),
    "broken line": MessKind("refused", "not valid JSON"),
    "ended before it started": MessKind("refused", "ended before it started"),
    "unknown step": MessKind("accepted", "unknown step"),
    "step name missing": MessKind("refused", "missing"),
    "unknown outcome code": MessKind("refused", "not one of"),
    "number with two decimal marks": MessKind("refused", "not a number"),
    "unknown test": MessKind("accepted", "unknown test"),
    "limits swapped": MessKind("refused", "lower limit above upper limit"),
    "quantity below nothing": MessKind("refused", "below 0"),
    "blank row": MessKind("left out"),
    "clock skipped": MessKind("accepted", "clock skipped"),
    "clock repeated": MessKind("accepted", "clock repeated"),
}
"""`clock` kinds are marked in a column of their own, as they befall rows of any kind."""


@dataclass(frozen=True)
class Spoil:
    """So many rows for a thousand jobs are made one kind of mess by changing some columns (none: the row is copied)."""

    kind: str
    per_thousand: float
    change: Mapping[str, pl.Expr] = field(default_factory=dict)
    where: pl.Expr | None = None


def prepared(frame: pl.DataFrame, file: pl.Expr) -> pl.DataFrame:
    """The frame with the columns that go along with the mess: file, place in it, kind of mess."""
    return frame.with_columns(
        file.alias("~file"),
        pl.int_range(pl.len()).cast(pl.Float64).alias("~order"),
        pl.lit(None, dtype=pl.String).alias("~mess"),
    )


def spoiled(
    rng: np.random.Generator, frame: pl.DataFrame, allowed: pl.Expr, spoils: Sequence[Spoil], thousands: float
) -> pl.DataFrame:
    """Plant mess in rows picked at random, no row twice; at least one row of each kind where any is allowed."""
    for spoil in spoils:
        able = frame.select(
            allowed & pl.col("~mess").is_null() & (pl.lit(True) if spoil.where is None else spoil.where)
        ).to_series()
        rows = np.flatnonzero(able.fill_null(False).to_numpy())
        picked = rng.permutation(rows)
        if "test" in spoil.change:
            # Two runs of a job under one name would be two versions of one row.
            _, firsts = np.unique(frame["at"].to_numpy()[picked], return_index=True)
            picked = picked[np.sort(firsts)]
        picked = picked[: max(1, round(spoil.per_thousand * thousands))]
        mask = np.zeros(frame.height, dtype=bool)
        mask[picked] = True
        chosen = pl.Series("~chosen", mask)
        if spoil.kind in COPIED:
            copies = frame.filter(chosen).with_columns(pl.lit(spoil.kind).alias("~mess"), pl.col("~order") + 0.5)
            # The first of the two must stay as it is.
            frame = frame.with_columns(
                pl.when(chosen).then(pl.lit("sent twice")).otherwise(pl.col("~mess")).alias("~mess")
            )
            frame = pl.concat([frame, copies])
        else:
            changes = {**spoil.change, "~mess": pl.lit(spoil.kind)}
            frame = frame.with_columns(
                pl.when(chosen).then(value).otherwise(pl.col(name)).alias(name) for name, value in changes.items()
            )
    return frame


def other_case(unit: pl.Expr) -> pl.Expr:
    """A unit id as people type it: small letters, or a space in it."""
    return pl.when(pl.int_range(pl.len()) % 2 == 0).then(unit.str.to_lowercase()).otherwise(unit.str.replace("-", "- "))


class Account:
    """What was planted where: rows, kinds of mess, and the verdicts to expect, for each file and table."""

    def __init__(self) -> None:
        self.files: dict[str, dict[str, dict[str, int]]] = {}
        self.mess: dict[str, dict[str, dict[str, int]]] = {}

    def count(self, file: str, table: str, mess: pl.Series, clock: pl.Series | None = None) -> None:
        """Count the rows written to one file for one table; rows of a file may come in several pieces."""
        planted: dict[str, int] = {}
        for kind, rows in mess.value_counts(sort=False).iter_rows():
            if kind in KINDS:
                planted[kind] = rows
        verdicts = dict.fromkeys(("refused", "known", "superseded", "left out"), 0)
        for kind, rows in planted.items():
            if KINDS[kind].verdict in verdicts:
                verdicts[KINDS[kind].verdict] += rows
        if clock is not None:
            refused = [k for k, v in KINDS.items() if v.verdict == "refused"]
            seen = clock.filter(~mess.fill_null("").is_in(refused))
            for code, name in ((1, "clock skipped"), (2, "clock repeated")):
                if rows := int((seen == code).sum()):
                    planted[name] = rows
        entry = self.files.setdefault(file, {}).setdefault(table, {})
        accepted = len(mess) - sum(verdicts.values())
        for name, number in {"rows": len(mess), "accepted": accepted, **verdicts}.items():
            entry[name] = entry.get(name, 0) + number
        kinds = self.mess.setdefault(file, {}).setdefault(table, {})
        for kind in sorted(planted):
            kinds[kind] = kinds.get(kind, 0) + planted[kind]

    def as_data(self) -> dict[str, object]:
        """The account as plain data: file → table → rows, verdicts, mess."""
        return {
            file: {table: {**counts, "mess": self.mess[file][table]} for table, counts in tables.items()}
            for file, tables in self.files.items()
        }


def sent_later(jobs: pl.DataFrame, whole: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows a site sends afterwards: its corrections, and half of the closing times that were missing.

    `whole` holds the closing times as they were before anything was spoiled, by `at`.
    """
    corrected = jobs.filter(pl.col("~mess") == "corrected later").with_columns(
        pl.when(pl.col("found") == "case").then(pl.lit("port")).otherwise(pl.lit("case")).alias("found"),
        pl.lit("correction").alias("~mess"),
    )
    missing = jobs.filter(pl.col("~mess") == "closing time missing").join(whole, on="at", maintain_order="left")
    resent = missing.with_columns(
        pl.col("~whole").alias("closed_at"), pl.lit("closing time sent later").alias("~mess")
    ).drop("~whole")
    return corrected, resent.head((resent.height + 1) // 2)
