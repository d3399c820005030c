"""What is asked of a source beside its rows: the names that pseudonyms are made of, and the words of codes."""

from collections.abc import Sequence

from rqa.intake.entries import Entry
from rqa.intake.names import inner, mark_beside, quoted
from rqa.intake.sources import TextSource
from rqa.intake.values import parsed
from rqa.store.validate import as_read, cleaned, converted, origins


def names_select(entry: Entry, text: TextSource, label: str) -> str:
    """The SELECT that gives every name of which a source's rows make pseudonyms, and how many cells hold each."""
    given = origins(entry, text, label)
    made = [as_read(entry.table.column(n), o, entry.options) for n, o in given.items() if o.key_file is not None]
    source = ", ".join(f"{sql} as {quoted(c)}" for c, sql in cleaned(text, entry.missing).items())
    names = ", ".join(made)
    return (
        f"select name, count(*) from (select unnest([{names}]) as name from (select {source} from {text.scan})) "
        "group by name"
    )


def words_select(entry: Entry, text: TextSource, label: str, names: Sequence[str]) -> str:
    """The SELECT that counts, over the rows that an entry takes, the words of columns of codes beside their codes.

    Its columns are the word and the code of each of `names`, then the number of rows.
    """
    given = origins(entry, text, label)
    mark = mark_beside(text.columns)
    fault, blank = inner("fault", mark), inner("blank", mark)
    source = [f"{sql} as {quoted(c)}" for c, sql in cleaned(text, entry.missing).items()]
    made = []
    for name in names:
        column, origin = entry.table.column(name), given[name]
        word = as_read(column, origin.model_copy(update={"values": {}}), entry.options)
        code = parsed(column, f"({converted(column, origin, entry.options, entry.guard, text.columns)})", entry.options)
        made += [f"{word} as {inner(f'word {name}')}", f"{code[name]} as {inner(f'code {name}')}"]
    where = f"(\n{entry.spec.where}\n) is true" if entry.spec.where else "true"
    return (
        f"select {', '.join(made)}, count(*) from (select {', '.join(source)}, {text.fault} as {fault}, "
        f"{text.blank} as {blank} from {text.scan}) where {fault} is null and not {blank} and {where} group by all"
    )
