"""The words of a source that become codes, with the number of rows that have each: counted in whole columns."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import duckdb

from rqa.errors import RqaError
from rqa.intake.entries import wanted_columns
from rqa.intake.sources import TextSource
from rqa.store.planned import Plan
from rqa.store.readers import LINES, ONLY_LOOK, USUAL
from rqa.store.seen import SeenWord
from rqa.store.side_selects import words_select
from rqa.store.stage import Stager
from rqa.store.validate import fitted

MOST = 40
"""Words of a column that are told one by one, the most frequent; of those that become no code, too."""
OTHERS = "(other words)"
Counts = Counter[tuple[str, str, str]]
"""Rows by column, word and code."""


def word_counts(connection: duckdb.DuckDBPyConnection, stager: Stager, items: Sequence[Plan]) -> list[SeenWord]:
    """Of each entry the words of its columns of codes; files that cannot be read so are left out."""
    found: list[SeenWord] = []
    for number in dict.fromkeys(i.entry.number for i in items):
        mine = [i for i in items if i.entry.number == number]
        counts: Counts = Counter()
        origins: dict[str, str] = {}
        for item in mine:
            try:
                with stager.bounded(item):
                    _count(connection, stager, item, counts, origins)
            except (duckdb.Error, RqaError):
                # The report tells what is wrong with it.
                continue
            finally:
                stager.copies.drop()
        found += _told(mine[0], counts, origins)
    return found


def _count(connection: duckdb.DuckDBPyConnection, stager: Stager, item: Plan, counts: Counts,
           origins: dict[str, str]) -> None:
    codes = [c.name for c in item.entry.table.columns if c.kind == "code"]
    if not codes:
        return
    wanted = wanted_columns(item.entry.spec)
    ways: list[Callable[[], TextSource]]
    if item.source is None:
        # Of a SELECT whose files are known by now, nothing was read by the load.
        stager.named.bind(item.named, item.sets, wanted)
        stager.named.read(item.named, wanted)
        ways = [partial(stager.select_text, item)]
    else:
        source = item.source
        options = (ONLY_LOOK, replace(ONLY_LOOK, plain_ends=True), USUAL) if source.format in LINES else (USUAL,)
        ways = [partial(stager.text_of, source, wanted, option) for option in options]
    for way in ways:
        text = way()
        if not text.columns:
            return
        given, _ = fitted(item.entry, text, item.label)
        names = [n for n in codes if n in given and given[n].constant is None]
        if not names:
            return
        origins.update({n: given[n].column or "SQL" for n in names if n not in origins})
        try:
            rows = connection.execute(words_select(item.entry, text, item.label, names)).fetchall()
        except (duckdb.InvalidInputException, duckdb.IOException):
            if way is ways[-1]:
                raise
            continue
        finally:
            if text.data is not None:
                connection.unregister(text.data_name)
        for *pairs, n in rows:
            for place, name in enumerate(names):
                word, code = pairs[2 * place], pairs[2 * place + 1]
                allowed = item.entry.table.column(name).allowed
                if word is not None or code is not None:
                    counts[name, word or "", code if code in allowed else ""] += n
        return


def _told(item: Plan, counts: Counts, origins: dict[str, str]) -> list[SeenWord]:
    """The words of one entry, in the order of its columns; where the mapping makes pseudonyms, only those it names."""
    found = []
    for column in item.entry.table.columns:
        mine: Counter[tuple[str, str]] = Counter()
        named = item.entry.spec.columns.get(column.name)
        safe = {*column.allowed, *(named.values if named is not None else ())}
        for (name, word, code), n in counts.items():
            if name == column.name:
                told = word if not item.entry.guard.sealed or word in safe else OTHERS
                mine[told, code] += n
        ranked = sorted(mine.items(), key=lambda kept: (bool(kept[0][1]), -kept[1], kept[0]))
        few = [*[k for k in ranked if not k[0][1]][:MOST], *[k for k in ranked if k[0][1]][:MOST]]
        found += [SeenWord(item.entry.table.name, item.entry.place.split(", ", 1)[1], column.name,
                           origins.get(column.name, ""), word, code, n) for (word, code), n in few]
        if left := sum(n for kept, n in ranked if not kept[1] and (kept, n) not in few):
            found.append(SeenWord(item.entry.table.name, item.entry.place.split(", ", 1)[1], column.name,
                                  origins.get(column.name, ""), OTHERS, "", left))
    return found
