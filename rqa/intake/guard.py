"""What of a source must not be written down or told as it was read: names, and whatever may hold one.

Where a mapping makes pseudonyms, nothing of any source reaches a disk or a message unread: a load then works in memory.
"""

import hashlib
import hmac
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rqa.intake.column_source import ColumnSource
from rqa.intake.literals import literal
from rqa.intake.mapping import Mapping as Rules
from rqa.intake.mapping import TableSpec
from rqa.intake.names import inner, quoted
from rqa.intake.sources import TextSource

NAME = "(name)"
"""What stands in the place of a name that is taken out of a text."""
SHORTEST = 2
"""Characters of a name from which on it is looked for in texts."""
FREE_TEXT = ("complaint", "found", "fault", "what", "scope", "owner", "expected_change")
"""The columns of the contract in which a person may be written about."""
AT_ONCE = 500
"""Names that one pattern looks for."""


@dataclass(frozen=True)
class Guard:
    """How one entry's sources are guarded.

    `sealed`: the mapping makes pseudonyms somewhere. `keep_records`: records that are no rows are kept whole;
    `seal_records`: and encrypted. `names` are the source columns that hold names, `keyed` those of them that become
    pseudonyms; `any_column` says that any column may hold one. `known` are patterns of the names to be looked for in
    texts.
    """

    sealed: bool = False
    keep_records: bool = True
    seal_records: bool = False
    names: frozenset[str] = frozenset()
    keyed: frozenset[str] = frozenset()
    any_column: bool = False
    known: tuple[str, ...] = ()

    @property
    def hides_values(self) -> bool:
        """Whether a value of the sources may be a name that must not be told."""
        return self.sealed or bool(self.names)

    def mark(self, before: str, secret: bytes = b"") -> str:
        """A digest of what decides what is made of a file: that of the mapping alone, `before`, and the guard.

        `secret` are the keys, so that nobody else can try out names against it.
        """
        if self == Guard():
            return before
        told = [before, self.sealed, self.keep_records, sorted(self.names), sorted(self.keyed), self.any_column]
        told += ["encrypted"] if self.seal_records else []
        message = json.dumps([*told, self.known], ensure_ascii=False).encode()
        return hmac.new(secret, message, hashlib.sha256).hexdigest()[:16]

    def kept(self, given: Mapping[str, ColumnSource], text: TextSource) -> list[str]:
        """The columns that may be kept as read with a refused row: no names, and of keyed sources only what is mapped.

        SQL may draw on any column, so where a pseudonym is made by SQL none is kept.
        """
        if self.any_column:
            return []
        kept = [c for c in text.columns if c not in self.names]
        if not self.keyed:
            return kept
        used = {o.column for o in given.values()}
        used |= {c for o in given.values() if o.sql is not None for c in drawn_on(o.sql, text.columns)}
        return [c for c in kept if c in used]

    def without_known(self, text: str) -> str:
        """SQL for a text in which no known name stands."""
        for pattern in self.known:
            text = f"regexp_replace({text}, {literal(pattern)}, {literal(NAME)}, 'gi')"
        return text


def guard_of(mapping: Rules, spec: TableSpec) -> Guard:
    """The guard of one entry: what it and others that read the same files say of their columns."""
    mine = set(mapping.sets_of(spec))
    names, keyed, any_column = set[str](), set[str](), False
    for entry in mapping.table:
        if not mine & set(mapping.sets_of(entry)):
            continue
        same_columns = entry.from_ is not None and spec.from_ is not None
        for origin in entry.columns.values():
            if origin.key_file is None and not origin.person:
                continue
            if entry is spec or same_columns:
                names |= {origin.column} - {None}  # type: ignore[arg-type]  # a set difference does not narrow
                keyed |= {origin.column} - {None} if origin.key_file is not None else set()  # type: ignore[arg-type]  # as above
            any_column |= origin.key_file is not None and (origin.column is None or not same_columns)
    keep = mapping.keeps_records or mapping.seals_records
    return Guard(mapping.keyed, keep, mapping.seals_records, frozenset(names), frozenset(keyed), any_column)


def drawn_on(sql: str, columns: Sequence[str]) -> list[str]:
    """The columns of a source that an SQL expression names; the engine does not tell names apart by their case."""
    without_texts = re.sub(r"'(?:[^']|'')*'|/\*.*?\*/|--[^\n]*", "''", sql, flags=re.DOTALL)
    found = re.findall(r'"((?:[^"]|"")+)"|([^\W\d]\w*)', without_texts)
    words = {(quoted_name.replace('""', '"') or word).lower() for quoted_name, word in found}
    return [c for c in columns if c.lower() in words]


def own_name(column: str) -> str:
    """The column of a staged row's name as it was read, while the row is judged."""
    return inner(f"name {column}")


def without_own(text: str, names: Iterable[str]) -> str:
    """SQL for a text that says no more than that a name stands there, where it holds one of these names of its row."""
    held = [f"(length({n}) >= {SHORTEST} and contains(upper({text}), upper({n})))" for n in names]
    return f"case when {' or '.join(held)} then {literal(NAME)} else {text} end" if held else text


def json_without_own(text: str, names: Iterable[str]) -> str:
    """SQL for a JSON text in which these names of its row do not stand."""
    for n in names:
        written = f"regexp_escape((to_json({n})::varchar)[2:-2])"
        replaced = f"regexp_replace({text}, {written}, {literal(NAME)}, 'gi')"
        text = f"case when length({n}) >= {SHORTEST} then {replaced} else {text} end"
    return text


def without_drawn(text: str, sql: str, guard: Guard, columns: Sequence[str]) -> str:
    """SQL for what an expression gives, without the names of columns that become pseudonyms and that it draws on."""
    return without_own(text, [quoted(c) for c in drawn_on(sql, columns) if c in guard.keyed])


def patterns(names: Iterable[str]) -> tuple[str, ...]:
    """Regular expressions that find these names in texts, whatever their case, longest first.

    A name in Latin letters is a word of its own; in scripts without spaces between words it is found anywhere. Spaces
    and apostrophes of any kind are taken as alike, letters with accents in both of their spellings.
    """
    stripped = [s for name in names if len(s := name.strip()) >= SHORTEST]
    spelled = {unicodedata.normalize(form, name) for name in stripped for form in ("NFC", "NFD")}
    spelled |= {json.dumps(name, ensure_ascii=False)[1:-1] for name in stripped}
    ordered = sorted(spelled, key=lambda n: (-len(n), n))
    return tuple(
        "(?:" + "|".join(map(_pattern, ordered[i : i + AT_ONCE])) + ")" for i in range(0, len(ordered), AT_ONCE)
    )


def _pattern(name: str) -> str:
    written = r"\s+".join(re.escape(part) for part in name.split())
    written = re.sub("['’ʼ]", "['’ʼ]", written)
    # The engine's \b knows ASCII letters alone, so a name that begins or ends with another needs none.
    begins, ends = (r"\b" if re.match(r"[A-Za-z0-9_]", sign) else "" for sign in (name[0], name[-1]))
    return begins + written + ends
