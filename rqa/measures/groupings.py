"""What a measure can be grouped by and filtered on, as its file's header declares it: names of the trade, each an SQL.

A name stands for one expression over the file's own tables. Nothing else ever becomes part of a query's text: the
values of filters are bound. A header says, in parts with a semicolon between them,

    -- Grouped by: month, week of day l.closed_on; job of l or 'unknown'; step of s;
    --   bench as coalesce(m.bench, 'several').

`month` and `week` (ISO, from Monday) are the first days of those that the day lies in. `NAMES of ALIAS` are columns of
that name, with `or 'unknown'` where they may be empty. `job` is short for what is known of a job itself, `JOB_NAMES`.
"""

import re
from collections.abc import Iterable, Mapping, Sequence

from rqa.errors import UnknownNameError
from rqa.words import did_you_mean

Groupings = Mapping[str, str]

JOB_NAMES = ("site", "model", "procedure", "technician", "billing")
STEP_LOG = ("step", "bench", "tool", "phase")
"""Groupings that need a job's step log."""
SHIFTS = ("shift", "shift_hour", "days_since_training")
"""Groupings by when in the working day, or how long after a training, an attempt was made."""
TEST_LOG = ("test", "station")
"""Groupings that need a job's diagnostics."""
PARTS_LIST = ("part_no", "lot")
"""Groupings that need a job's parts list."""

_DECLARED = re.compile(r"^-- Grouped by: (.*(?:\n--   .*)*)\.$", re.M)
_PART = re.compile(
    r"(?P<names>\w+(?:, \w+)*) (?:of day (?P<day>.+)|of (?P<alias>\w+)(?P<open> or 'unknown')?|as (?P<expression>.+))"
)


def declared(sql: str) -> Groupings:
    """The groupings that a file's header declares; none without such a line. `ValueError` for what cannot be read."""
    if "Grouped by" not in sql:
        return {}
    found = _DECLARED.search(sql)
    if found is None:
        raise ValueError("'Grouped by' of a measure's header has no full stop at its end.")
    groupings: dict[str, str] = {}
    for part in found[1].replace("\n--  ", "").split("; "):
        read = _PART.fullmatch(part)
        if read is None:
            raise ValueError(f"'Grouped by' of a measure's header cannot be read: {part!r}.")
        for name in (n for word in read["names"].split(", ") for n in (JOB_NAMES if word == "job" else (word,))):
            groupings[name] = _expression(name, read)
    return groupings


def _expression(name: str, read: re.Match[str]) -> str:
    """What a name stands for, by the part of the header that declares it."""
    if read["day"]:
        return f"cast(date_trunc('{name}', {read['day']}) as date)"
    if read["open"]:
        return f"coalesce({read['alias']}.{name}, 'unknown')"
    return f"{read['alias']}.{name}" if read["alias"] else read["expression"]


def names_only(question: str, what: str, given: Iterable[str], allowed: Sequence[str]) -> None:
    """Raise `UnknownNameError` for a name that is not among the allowed ones, saying what exists."""
    unknown = [name for name in given if name not in allowed]
    if unknown:
        listed = ", ".join(repr(name) for name in unknown)
        meant = did_you_mean(str(unknown[0]), allowed)
        said = f"{question}: there is no {what} {listed}. There is: {', '.join(allowed) or 'none'}.{meant}"
        raise UnknownNameError(said, what, unknown)
