"""What headers and status words mean: the notions behind the words of a header, in several languages."""

import re
import tomllib
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from itertools import product

from rapidfuzz.fuzz import ratio

LIKE = 86.0
"""How alike two words are, of 100, before one is taken for the other mistyped or inflected."""
SHORTEST = 5
"""Letters that a word has before it is compared for likeness, or looked for within a longer one."""
SHORTEST_FORM = 3
"""Letters that a short form without vowels has at least."""
VOWELS = re.compile("[aeiouy]")
FILL = "fill"
UNKNOWN = "unknown"
BESIDE = 0.78
"""What is left of how sure a column is for each further notion in its header, which the column does not need."""
BESIDE_UNKNOWN = 0.78
BESIDE_NEUTRAL, BESIDE_OTHER = 0.95, 0.6
NEUTRAL = {"repair", "id"}
"""Notions that say little of a column beside others."""
OTHER = {"other", "customer"}
"""What logs hold beside, such as a customer's name: a header with such a word most likely means that."""
MOST_WORDS = 8
KEPT = 50_000
"""Headers and texts whose meaning is kept once it was looked up."""
UNSURE = 0.7
"""How sure a code is of a text that most shops mean so, or that is like a known one."""
NUMBER_OF = re.compile(r"^(?:number|no|nr) of ")
ALONE = 0.9
"""What is left where the key of an object says it, and the object's name does not go with it."""
OBJECT_KEY = re.compile(r"(\S{2,})\.([^\s.]{2,})")
"""A key within an object, "unit.serial"."""
INNER_CAPITAL = re.compile(r"(?<=[a-zà-öø-ÿ0-9])(?=[A-ZÀ-ÖØ-Þ][a-zà-öø-ÿ])|(?<=[a-zà-öø-ÿ])(?=[A-Z])")
LETTERS = str.maketrans({
    "ł": "l", "ø": "o", "đ": "d", "ı": "i", "ß": "ss", "æ": "ae", "œ": "oe", "’": " ", "'": " ",
    "✓": "ok", "✔": "ok", "☑": "ok", "✗": "nok", "✘": "nok", "☒": "nok",
})


def folded(text: str) -> str:
    """A text without capitals, accents and signs, its words parted by blanks; "ae" for "ä" makes no difference."""
    parted = INNER_CAPITAL.sub(" ", text)
    parted = parted.replace("N°", " nr ").replace("n°", " nr ").replace("№", " nr ").replace("Nº", " nr ")
    plain = unicodedata.normalize("NFKD", parted.lower().translate(LETTERS))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+|[#€$£]", plain)
    return " ".join(_umlauts(w) for w in words)


def _umlauts(word: str) -> str:
    """A word with "ae", "oe", "ue" as their vowels: "geraet" and "gerat" are one."""
    return re.sub(r"(?<!q)([aou])e(?=[^\W\daeiou])", r"\1", word) if len(word) > 3 else word


@dataclass(frozen=True)
class Vocabulary:
    """Words by notion, columns by the notions that make them, status texts by their code."""

    words: dict[str, frozenset[str]]
    columns: dict[str, dict[str, tuple[tuple[tuple[str, ...], float], ...]]]
    tables: dict[str, tuple[str, ...]]
    values: dict[str, dict[str, frozenset[str]]]
    unsure: dict[str, frozenset[str]]
    missing: tuple[str, ...]


@cache
def vocabulary() -> Vocabulary:
    """The vocabulary of the package."""
    raw = tomllib.loads((files("rqa.proposals") / "vocabulary.toml").read_text(encoding="utf-8"))
    words: dict[str, set[str]] = {}
    for notion, listed in raw["notions"].items():
        for word in listed.split():
            words.setdefault(folded(word) or word, set()).add(notion)
    columns = {
        table: {
            name: tuple((tuple(made.split()), sure) for made, sure in ways.items()) for name, ways in of_table.items()
        }
        for table, of_table in raw["columns"].items()
    }
    values = {
        kind: {code: frozenset(folded(t) for t in texts) for code, texts in codes.items()}
        for kind, codes in raw["values"].items()
    }
    return Vocabulary(
        {w: frozenset(n) for w, n in words.items()}, columns,
        {t: tuple(n.split()) for t, n in raw["tables"].items()}, values,
        {kind: frozenset(folded(t) for t in texts) for kind, texts in raw["unsure"].items()},
        tuple(raw["missing"]["texts"]),
    )


@cache
def notions_of(header: str) -> tuple[frozenset[str], ...]:
    """The notions that each word of a header may stand for; compound words are taken apart."""
    found: list[frozenset[str]] = []
    known, words = vocabulary().words, NUMBER_OF.sub("qty ", folded(header)).split()
    while words:
        both = "".join(words[:2])
        if len(words) > 1 and both in known and words[0] not in ("of", "de"):
            found.append(known[both])
            del words[:2]
        else:
            found += _of_word(words.pop(0))
    return tuple(n for n in found if n != {FILL})


@cache
def _of_word(word: str) -> tuple[frozenset[str], ...]:
    known = vocabulary().words
    if word in known:
        return (known[word],)
    if word.isdigit():
        return ()
    bare = word.rstrip("0123456789")
    if bare != word and bare in known:
        return (known[bare],)
    parts = _taken_apart(bare)
    if parts:
        return parts
    if len(bare) >= SHORTEST:
        alike = [w for w in known if len(w) >= SHORTEST and w[0] == bare[0]]
        best = max(alike, key=lambda w: ratio(bare, w), default="")
        if best and ratio(bare, best) >= LIKE:
            return (known[best],)
        # A compound of which one part is known; the last says what it is.
        for at in range(2, len(bare) - SHORTEST + 1):
            if bare[at:] in known:
                return frozenset({UNKNOWN}), known[bare[at:]]
        for at in range(len(bare) - 2, SHORTEST - 1, -1):
            if bare[:at] in known:
                return known[bare[:at]], frozenset({UNKNOWN})
    # A short form without vowels: "rslt", "dscr".
    if len(bare) >= SHORTEST_FORM and not VOWELS.search(bare[1:]):
        whole = [w for w in known if w.isascii() and w[0] == bare[0] and w != bare and len(w) <= 2 * len(bare) + 1
                 and VOWELS.sub("", w[1:]) == bare[1:]]
        meant = {n for w in whole for n in known[w]}
        if len(meant) == 1:
            return (frozenset(meant),)
    # A short form: "auftr", "diag", "oper".
    longer = [w for w in known if len(bare) >= 4 and len(w) > len(bare) + 2 and w.startswith(bare)]
    begun = {n for w in longer for n in known[w]}
    return (frozenset(begun),) if begun and len(begun) <= 2 else (frozenset({UNKNOWN}),)


@cache
def _taken_apart(word: str) -> tuple[frozenset[str], ...]:
    """The notions of the parts of a compound word, such as "auftragsnummer"; () where it is none."""
    known = vocabulary().words
    for cut in range(len(word) - 2, 2, -1):
        first, rest = word[:cut], word[cut:]
        if len(first) < 3 or first not in known or known[first] == {FILL}:
            continue
        for joint in ("", "s", "n", "en", "es", "e"):
            if not rest.startswith(joint) or len(rest) - len(joint) < 2:
                continue
            left = rest[len(joint):]
            if left in known and (len(left) >= 3 or "id" in known[left]):
                return known[first], known[left]
            deeper = _taken_apart(left)
            if deeper:
                return known[first], *deeper
    return ()


@lru_cache(KEPT)
def sure_of(header: str, table: str, column: str) -> float:
    """How sure a header by itself is that it names a column of the contract, 0 to 1."""
    if header.strip().lower() == column:
        return 1.0
    ways = vocabulary().columns.get(table, {}).get(column, ())
    within = OBJECT_KEY.fullmatch(header.strip())
    words = notions_of(header.replace("/", " "))
    if not words or not ways:
        return ratio(folded(header), folded(column)) / 100 - 0.1 if _alike(header, column) else 0.0
    # What an object is called says little of a key in it: the key itself must say something.
    if within is None:
        return max((_sure(words, set(made), sure) for made, sure in ways), default=0.0)
    own = notions_of(within[2])
    alone = max((_sure(own, set(made), sure) for made, sure in ways), default=0.0) * ALONE
    said = set[str]().union(*own)
    return max([alone, *(_sure(words, set(made), sure) for made, sure in ways if said & set(made))])


def _alike(header: str, column: str) -> bool:
    return ratio(folded(header), folded(column)) >= 90


def _sure(words: Sequence[frozenset[str]], made: set[str], sure: float) -> float:
    if not made <= set().union(*words):
        return 0.0
    best = 0.0
    if len(words) > MOST_WORDS:
        return 0.0
    for chosen in product(*(sorted(w & made) or [""] for w in words)):
        if made <= set(chosen):
            left = sure
            for word, use in zip(words, chosen, strict=True):
                left *= 1.0 if use else _left_beside(word)
            best = max(best, left)
    return best


def _left_beside(word: frozenset[str]) -> float:
    """What a word that a column does not need leaves of how sure it is."""
    if word == {UNKNOWN}:
        return BESIDE_UNKNOWN
    if OTHER & word:
        return BESIDE_OTHER
    return BESIDE_NEUTRAL if word & NEUTRAL else BESIDE


ASKED = re.compile(r"\?(?!\w)")
"""A question mark that stands for no letter."""
NEGATED = frozenset((
    "no", "not", "non", "never", "cannot", "without", "out", "void", "expired", "kein", "keine", "keinen", "nicht",
    "ohne", "ausser", "abgelaufen", "pas", "sans", "hors", "sin", "fuera", "senza", "fuori", "nao", "sem", "fora",
    "bez", "nie", "niet", "geen", "zonder", "ej", "inte", "inget", "utan", "ikke", "ingen", "uden", "neni", "nelze",
    "mimo", "degil", "yok", "disi",
))
"""Words that turn what a text says into its opposite, folded."""


def _opposed(plain: str, known: str) -> bool:
    """Whether one of two texts has a no that the other does not have."""
    return bool(NEGATED & (set(plain.split()) ^ set(known.split())))


@lru_cache(KEPT)
def code_of(text: str, kind: str, allowed: tuple[str, ...]) -> tuple[str | None, float]:
    """The code that a status text means, and how sure that is: 1.0 for a known text, less for one that is like it.

    None for one that asks, and for one that says no to a known text or leaves out its no: it may mean the opposite.
    """
    plain = folded(text)
    if ASKED.search(text):
        return None, 0.0
    codes = {code: texts for code, texts in vocabulary().values.get(kind, {}).items() if code in allowed}
    for code in allowed:
        if plain == folded(code):
            return code, 1.0
    for code, texts in codes.items():
        if plain in texts:
            return code, UNSURE if plain in vocabulary().unsure.get(kind, ()) else 1.0
    near: list[tuple[float, str]] = []
    for code, texts in codes.items():
        best = max((ratio(plain, t) for t in texts if len(t) >= SHORTEST and len(plain) >= SHORTEST
                    and not _opposed(plain, t)), default=0.0)
        near.append((best / 100, code))
    near.sort(reverse=True)
    if near and near[0][0] >= 0.88 and (len(near) == 1 or near[0][0] - near[1][0] > 0.05):
        return near[0][1], UNSURE
    # A known text at the beginning of a longer one: "repariert (Platine)".
    begun = [
        (len(t), code) for code, texts in codes.items() for t in texts
        if len(t) >= SHORTEST and (plain.startswith(f"{t} ") or plain.endswith(f" {t}")) and not _opposed(plain, t)
    ]
    if begun:
        longest = max(begun)
        return longest[1], 0.5
    return None, 0.0
