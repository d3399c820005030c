"""Sheets that are no table yet: columns or lists that become rows, cells that hold for those below them.

Each is a setting of a `[[table]]` beside `from`, and becomes the SELECT that one would otherwise write by hand: that of
a file in `sql/`, in which the names of a mapping's columns take the places marked `$name`. The rows keep the place that
they come from.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from string import Template
from typing import NamedTuple

from rqa.intake.literals import literal
from rqa.intake.names import PLACE_COLUMNS, inner, quoted


def reshaping_select(
    named: str, fill_down: Sequence[str], split: Mapping[str, str], name: str, rows: Mapping[str, Mapping[str, str]]
) -> str:
    """The SELECT over a named set of files that reshapes its rows.

    `fill_down` are columns of which an empty cell means that of the row above. `split` gives a separator by column, of
    which each entry becomes a row; the entries of several columns go in pairs, first with first. `rows` gives, by the
    text that the column `name` takes, which columns of the source become which columns of that row: one in which all of
    them are empty is left out.
    """
    file, line = PLACE_COLUMNS
    sql = quoted(named)
    if fill_down:
        columns = (_filled("filled_column", column=quoted(c), file=file, line=line) for c in fill_down)
        sql = _filled("fill_down", filled=", ".join(columns), files=sql)
    if split:
        entry = inner("entry")
        sql = _filled(
            "split_rows", files=sql, entry=entry,
            lists=", ".join(f"coalesce(string_split({quoted(c)}, {literal(s)}), [])" for c, s in split.items()),
            columns=", ".join(f"nullif({entry}[{i}], '') as {quoted(c)}" for i, c in enumerate(split, 1)),
            given_any=" or ".join(f"trim(e[{i}]) <> ''" for i in range(1, len(split) + 1)),
        )
    if rows:
        row = inner("row")
        targets = list(dict.fromkeys(t for given in rows.values() for t in given))
        sql = _filled(
            "columns_to_rows", files=sql, row=row, hidden=_texts(c.lower() for c in (name, *targets, row.strip('"'))),
            taken=", ".join(f"{row}.{quoted(t)} as {quoted(t)}" for t in (name, *targets)),
            rows=", ".join(_struct(name, text, targets, given) for text, given in rows.items()),
            given_any=" or ".join(f"{row}.{quoted(t)} is not null" for t in targets),
        )
    return _filled("reshaped", files=sql)


def _struct(name: str, text: str, targets: Sequence[str], given: Mapping[str, str]) -> str:
    fields = (f"{quoted(t)}: {quoted(given[t]) if t in given else 'null::varchar'}" for t in targets)
    return "{" + ", ".join([f"{quoted(name)}: {literal(text)}", *fields]) + "}"


class EventColumns(NamedTuple):
    """The columns of a log of events: the job, the step, the time, and the kind of event where there is one."""

    case: str
    activity: str
    time: str
    lifecycle: str | None


def event_select(
    sql: str, of: EventColumns, start: Sequence[str], end: Sequence[str], times: Sequence[str]
) -> str:
    """The SELECT that makes attempts at steps of the events that `sql` gives.

    An event whose kind is in `start` begins an attempt, and so does one in `end` that follows on another end of the
    same step and job; all other kinds are passed over. Without kinds each event is an attempt that ends then. The times
    are read in the formats `times`.
    """
    file, line = PLACE_COLUMNS
    time, kind = quoted(of.time), f"lower(trim({quoted(of.lifecycle or '')}))"
    begins, place, nth, starts = (inner(n) for n in ("begins", "place", "nth", "starts"))
    own = ("job_id", "step", "started_at", "ended_at", line, begins, place, nth, starts)
    begin, both = (_texts(t.strip().lower() for t in kinds) for kinds in (start, (*start, *end)))
    forms = [f"try_strptime({time}, {literal(f)})::timestamptz" for f in times if f != "iso"]
    forms += [f"try_cast({time} as timestamptz)"] if "iso" in times else []
    return _filled(
        "events", files=sql, file=file, line=line, time=time, case=quoted(of.case), activity=quoted(of.activity),
        begins=begins, place=place, nth=nth, starts=starts,
        hidden=_texts(n.strip('"') for n in own),
        is_start=f"{kind} in ({begin})" if of.lifecycle else "false",
        counts=f"{kind} in ({both})" if of.lifecycle else "true",
        moment=f"coalesce({', '.join(forms)})" if forms else "null",
    )


def _texts(texts: Iterable[str]) -> str:
    return ", ".join(literal(t) for t in texts)


@cache
def _template(name: str) -> Template:
    """A file of `sql/`, without the remarks at its top."""
    text = (files("rqa.intake") / "sql" / f"{name}.sql").read_text(encoding="utf-8")
    return Template("\n".join(part for part in text.splitlines() if not part.startswith("-- ")))


def _filled(name: str, **parts: str) -> str:
    return _template(name).substitute(parts)
