"""Sheets that are no table yet: columns or lists that become rows, cells that hold for those below them.

Each is a setting of a `[[table]]` beside `from`, and becomes the SELECT that one would otherwise write by hand. The
rows keep the place that they come from.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from rqa.intake.names import PLACE_COLUMNS, inner, quoted


def reshaping_select(
    files: str, fill_down: Sequence[str], split: Mapping[str, str], name: str, rows: Mapping[str, Mapping[str, str]]
) -> str:
    """The SELECT over a named set of files that reshapes its rows.

    `fill_down` are columns of which an empty cell means that of the row above. `split` gives a separator by column, of
    which each entry becomes a row; the entries of several columns go in pairs, first with first. `rows` gives, by the
    text that the column `name` takes, which columns of the source become which columns of that row: one in which all of
    them are empty is left out.
    """
    file, line = PLACE_COLUMNS
    sql = quoted(files)
    if fill_down:
        so_far = "rows between unbounded preceding and current row"
        above = f"over (partition by {file} order by {line} {so_far})"
        filled = ", ".join(f"last_value({quoted(c)} ignore nulls) {above} as {quoted(c)}" for c in fill_down)
        sql = f"(select * replace ({filled}) from {sql})"
    if split:
        one = inner("entry")
        lists = ", ".join(f"coalesce(string_split({quoted(c)}, {_literal(s)}), [])" for c, s in split.items())
        texts = {c: f"nullif({one}[{i}], '')" for i, c in enumerate(split, 1)}
        given_any = " or ".join(f"trim(e[{i}]) <> ''" for i in range(1, len(split) + 1))
        entries = f"list_filter(list_zip({lists}), lambda e: coalesce({given_any}, false))"
        # A row without an entry stays one row.
        kept = f"case when len({entries}) > 0 then {entries} else [null] end"
        made = ", ".join(f"{text} as {quoted(c)}" for c, text in texts.items())
        sql = f"(select * exclude ({one}) replace ({made}) from (select *, unnest({kept}) as {one} from {sql}))"
    if rows:
        targets = list(dict.fromkeys(t for given in rows.values() for t in given))
        made = ", ".join(
            "{" + ", ".join([f"{quoted(name)}: {_literal(text)}"] + [
                f"{quoted(t)}: {quoted(given[t]) if t in given else 'null::varchar'}" for t in targets
            ]) + "}" for text, given in rows.items()
        )
        one = inner("row")
        taken = ", ".join(f"{one}.{quoted(t)} as {quoted(t)}" for t in (name, *targets))
        hidden = ", ".join(_literal(c.lower()) for c in (name, *targets, one.strip('"')))
        given_any = " or ".join(f"{one}.{quoted(t)} is not null" for t in targets)
        sql = (
            f"(select columns(lambda c: lower(c) not in ({hidden})), {taken} "
            f"from (select *, unnest([{made}]) as {one} from {sql}) where {given_any})"
        )
    return f"select * from {sql}"


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
    same step and job; all other kinds are passed over. Without kinds each event is an attempt that ends then. Events
    stand in the order of their times, read in the formats `times`, then in that of rows. An attempt takes of each other
    column the last text that one of its events gives.
    """
    file, line = PLACE_COLUMNS
    kind, time = quoted(of.lifecycle or ""), quoted(of.time)
    begins, place, nth, starts = (inner(n) for n in ("begins", "place", "nth", "starts"))
    texts = {w: ", ".join(_literal(t.strip().lower()) for t in texts) for w, texts in (("start", start), ("end", end))}
    is_start = f"lower(trim({kind})) in ({texts['start']})" if of.lifecycle else "false"
    only = f"where lower(trim({kind})) in ({texts['start']}, {texts['end']})" if of.lifecycle else ""
    step = f"partition by {quoted(of.case)}, {quoted(of.activity)}"
    forms = [f"try_strptime({time}, {_literal(f)})::timestamptz" for f in times if f != "iso"]
    forms += [f"try_cast({time} as timestamptz)"] if "iso" in times else []
    moment = f"coalesce({', '.join(forms)})" if forms else "null"
    made = ("job_id", "step", "started_at", "ended_at", line)
    hidden = ", ".join(_literal(c.strip('"')) for c in (*made, begins, place, nth, starts))
    return (
        f"select arg_max(columns(lambda c: lower(c) not in ({hidden})), {place}), "
        f"any_value({quoted(of.case)}) as job_id, any_value({quoted(of.activity)}) as step, "
        f"arg_min({time}, {place}) filter (where {starts}) as started_at, "
        f"arg_max({time}, {place}) filter (where not {starts}) as ended_at, min({line}) as {line} "
        f"from (select *, count(*) filter (where {begins}) over ({step} order by {place}) as {nth} "
        f"from (select *, {starts} or coalesce(not lag({starts}) over ({step} order by {place}), true) as {begins} "
        f"from (select *, {is_start} as {starts}, row_number() over ({step} order by {moment}, {file}, {line}) "
        f"as {place} from ({sql}) {only}))) group by {quoted(of.case)}, {quoted(of.activity)}, {nth}"
    )


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
