"""Sheets that are no table yet: columns or lists that become rows, cells that hold for those below them.

Each is a setting of a `[[table]]` beside `from`, and becomes the SELECT that one would otherwise write by hand. The
rows keep the place that they come from.
"""

from collections.abc import Mapping, Sequence

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


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
