"""Where a column of the contract takes its values from, and how they are changed, as the mapping says it."""

import re
from fractions import Fraction
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from rqa.intake.names import quoted
from rqa.intake.parts import Part, Texts
from rqa.shown import told

FACTOR = re.compile(r"\s*[+-]?[\d_.]{1,40}(?:[eE][+-]?\d{1,3})?(?:/[\d_]{1,40})?\s*")
"""The texts that may be a factor; others are not even tried."""


def _whole_path(text: str) -> bool:
    try:
        return "\0" not in text and Path(text).expanduser().is_absolute()
    except RuntimeError:
        # There is no home of that name.
        return False


def _factor(value: object) -> object:
    """A factor may be written as a fraction, "1/60"."""
    if isinstance(value, str):
        try:
            # A long exponent would be written out before it is found to be too large.
            if not FACTOR.fullmatch(value):
                raise ValueError
            return float(Fraction(value))
        except (ValueError, ArithmeticError):
            raise ValueError(
                f"{told(value)} is no factor; write a number such as 60, or a fraction such as '1/60'"
            ) from None
    return value


Factor = Annotated[float, BeforeValidator(_factor), Field(gt=0, allow_inf_nan=False)]


def _are_names(names: object) -> bool:
    return isinstance(names, list) and len(names) > 1 and all(isinstance(n, str) and n.strip() for n in names)


class ColumnSource(Part):
    """Where a column's value comes from (a source column, a constant or SQL), and how it is changed."""

    column: str | None = None
    constant: str | int | float | bool | None = None
    sql: str | None = None
    values: dict[str, str] = Field(default_factory=dict)
    replace: list[tuple[str, str]] = Field(default_factory=list)
    default: str | None = None
    times: Factor | None = None
    """What a number of the source is multiplied by: 60 for hours where the contract has minutes."""
    divide: Factor | None = None
    """What a number of the source is divided by: 100 for cents where the contract has the currency."""
    unknown: Texts | None = None
    """Texts that say that nobody knows the value: their rows are left out and counted; "" stands for no text."""
    join: Texts | None = None
    """Source columns whose texts are joined with a blank between, such as a day and a clock time."""
    key_file: str | None = None
    person: bool = False
    """The column names people, though the contract means a place or a tool by it."""

    @model_validator(mode="before")
    @classmethod
    def _joined(cls, given: object) -> object:
        """Columns to be joined are read by SQL; what is missing in one of them is left out."""
        if isinstance(given, dict) and (names := given.get("join")) and _are_names(names):
            sql = f"concat_ws(' ', {', '.join(map(quoted, names))})"
            if given.get("sql") not in (None, sql):
                raise ValueError("give exactly one of column, constant, sql, join")
            return given | {"sql": sql}
        return given

    @model_validator(mode="after")
    def _one_origin(self) -> "ColumnSource":
        if sum(x is not None for x in (self.column, self.constant, self.sql)) != 1:
            raise ValueError("give exactly one of column, constant, sql, join")
        if self.key_file is not None and not _whole_path(self.key_file):
            raise ValueError("key_file is a whole path, outside the workspace")
        if self.times is not None and self.divide is not None:
            raise ValueError("give times or divide, not both")
        if self.key_file is not None and (self.times is not None or self.divide is not None):
            raise ValueError("times and divide are for numbers, key_file for names; give one of them")
        if self.unknown is not None and self.column is None:
            raise ValueError("unknown is for a column of the source; say column = … beside it")
        return self

    @property
    def factor(self) -> str:
        """SQL behind a number of the source that makes the contract's of it; "" where it is that."""
        if self.divide is not None:
            return f" / {self.divide!r}::double"
        return f" * {self.times!r}::double" if self.times is not None else ""

    @property
    def is_known(self) -> str:
        """SQL over the source's columns that is true where the value is known; "" where the mapping leaves it open."""
        if self.unknown is None or self.column is None:
            return ""
        texts = ", ".join("'" + t.strip().replace("'", "''") + "'" for t in self.unknown)
        return f"coalesce({quoted(self.column)}, '') not in ({texts})"


def _as_field(value: object) -> object:
    return {"column": value} if isinstance(value, str) else value


FieldSpec = Annotated[ColumnSource, BeforeValidator(_as_field)]
