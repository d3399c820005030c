"""Which table a set of files feeds, and which of its columns is which of the contract: all columns solved together."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from rqa.contract import JOBS, TABLES, Column, Table
from rqa.proposals.columns import CODES, Facts
from rqa.proposals.vocabulary import code_of, folded, notions_of, sure_of, vocabulary
from rqa.words import counted, percent

SURE, CHECK, CANDIDATE = 0.8, 0.5, 0.25
"""From how sure on a line is written as it is, written to be checked, or only listed as a candidate."""
MARGIN = 0.1
"""How much surer a column must be than any other that could be meant."""
MOST_CANDIDATES = 3
BY_WORDS = 0.55
"""How sure a column is to be a status by its words alone."""
YES_NO = {"yes", "no", "true", "false", "ja", "nein", "oui", "non", "si", "nee", "sim", "nao", "tak", "nie", "1", "0",
          "y", "n"}
LOGS = ("jobs", "steps", "diagnostics", "parts")
DEFINING = {
    "jobs": ("unit_id", "opened_at", "closed_at", "disposition", "model", "procedure"), "steps": ("step", "step_seq",
                                                                                                  "bench"),
    "diagnostics": ("test", "lower_limit", "upper_limit", "station"), "parts": ("part_no", "quantity", "lot",
                                                                                "unit_cost"),
}
"""Columns by which a table is told from the others."""
LEAST_DEFINING = {"jobs": 3}
"""How many of these a set must have to be taken for the table; 1 where nothing else is said."""
NEEDED = {"steps": "step", "diagnostics": "test", "parts": "part_no"}
"""The column without which a set is not proposed for a table, unless two others tell it."""
BY_IDS = 0.85
"""How sure a column is to be the job's id when its values are ids of the jobs, and its header says nothing."""
BY_STANDARD = 0.95
"""How sure a column is that a standard names."""
ARE_IDS = "of its values are ids of the jobs"
ALL_OF_CONTRACT = 0.6
"""Share of a reference table's columns that a file must name as the contract does."""


@dataclass(frozen=True)
class Guess:
    """One column of the contract: the column of the source that gives it, how sure that is, and what says so."""

    target: str
    source: str
    sure: float
    evidence: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    rivals: tuple[str, ...] = ()
    """Other columns of the source that it could be."""
    values: dict[str, str] = field(default_factory=dict)
    unread: tuple[tuple[str, int], ...] = ()
    """Texts of a status column whose meaning is not known, with their counts."""
    guessed: tuple[str, ...] = ()
    """Texts whose meaning is only likely."""
    replace: tuple[tuple[str, str], ...] = ()
    """What is replaced in its texts."""

    @property
    def marked(self) -> bool:
        """Whether the line asks to be checked."""
        return self.sure < SURE or bool(self.doubts) or bool(self.guessed)


@dataclass(frozen=True)
class Matched:
    """What a set of files is taken for."""

    table: str
    guesses: dict[str, Guess]
    candidates: dict[str, tuple[tuple[str, float], ...]]
    """For columns of the contract that nothing is proposed for: columns of the source that could be it."""
    score: float


def compatible(column: Column, facts: Facts, table: str) -> tuple[float, str]:
    """How well what a column holds goes with a column of the contract, 0 to 1, and what is seen of it."""
    if not facts.given:
        return 0.6, "no value in it"
    many = counted(facts.given, "value")
    if column.kind == "month" and all(re.fullmatch(r"\d{4}-\d\d(-\d\d)?", t) for t in facts.texts):
        return 1.0, "its values are months"
    if column.kind in ("time", "date", "month"):
        if facts.times is not None:
            return 1.0, f"{facts.times.fits:,} of {many} are times"
        if facts.epoch:
            return 0.85, f"numbers that can count {facts.epoch}"
        return 0.1, "its values are not times"
    if column.kind in ("number", "integer"):
        if facts.number < 0.8 or (facts.epoch in ("seconds", "milliseconds")):
            return 0.1, "its values are not numbers"
        if column.kind == "integer" and facts.whole < 0.9:
            return 0.15, "not whole numbers"
        return (1.0 if facts.number >= 0.95 else 0.8), f"{_share(facts.number)} of the sample are numbers"
    if column.kind == "code":
        return _code_fit(column, facts)
    if column.kind == "boolean":
        return (1.0, "two values") if 1 <= facts.distinct <= 2 else (0.2, "more than two values")
    return _text_fit(column, facts, table)


def _share(share: float) -> str:
    return percent(round(share, 2), decimals=0)


def _different(facts: Facts) -> str:
    return counted(facts.distinct, "different value")


def _code_fit(column: Column, facts: Facts) -> tuple[float, str]:
    kind = kind_of_codes(column)
    if not facts.values or facts.distinct > CODES:
        return 0.2, "too many different values for a status"
    if facts.times is not None:
        return 0.1, "its values are times"
    known = sum(n for v, n in facts.values if code_of(v, kind, column.allowed)[0])
    all_values = sum(n for v, n in facts.values if v not in facts.missing)
    share = known / all_values if all_values else 0.0
    return 0.7 + 0.3 * share, f"the meaning of {known:,} of {counted(all_values, 'value')} is known"


def _text_fit(column: Column, facts: Facts, table: str) -> tuple[float, str]:
    if facts.times is not None:
        return 0.1, "its values are times"
    if facts.clock:
        return 0.1, "its values are clock times"
    if facts.decimal and facts.number > 0.9:
        return 0.2, "its values are numbers with decimals"
    if column.name in ("complaint", "found", "fault", "procedure") and _are_codes(facts):
        return 0.4, "its values are words of a status"
    if column.key and table in ("jobs", "retirements") and column.name in ("job_id", "unit_id"):
        return (1.0 if facts.unique >= 0.9 else 0.75), f"{_different(facts)} in {counted(facts.filled, 'row')}"
    if column.name == "job_id":
        return (1.0 if facts.unique < 0.9 else 0.9), f"{_different(facts)} in {counted(facts.filled, 'row')}"
    if column.name == "unit_id":
        return (1.0 if facts.unique >= 0.2 or facts.filled < 20 else 0.55), _different(facts)
    if column.name in ("step", "test", "procedure", "model", "site", "bench", "station", "tool", "unit", "technician"):
        few = facts.distinct <= 5 or facts.unique < 0.5 or facts.filled < 20
        numbers = facts.number > 0.9 and column.name in ("step", "test", "procedure", "unit")
        return (0.6 if numbers else 1.0 if few else 0.5), _different(facts)
    return 1.0, _different(facts)


def _yes_or_no(facts: Facts) -> bool:
    return all(folded(v) in YES_NO for v, _ in facts.values)


def _are_codes(facts: Facts) -> bool:
    """Whether most values of a column are words of a status, which no free text is."""
    allowed = TABLES["jobs"].column("disposition").allowed
    known = sum(n for v, n in facts.values if code_of(v, "disposition", allowed)[0])
    return known > 0.5 * facts.given and facts.distinct > 1


def kind_of_codes(column: Column) -> str:
    """Under which kind the vocabulary has the words of a code column."""
    return column.name if column.name in vocabulary().values else ""


def score(column: Column, facts: Facts, table: str) -> tuple[float, list[str]]:
    """How sure one column is to be one of the contract, and the evidence."""
    name = sure_of(facts.name, table, column.name)
    fit, seen = compatible(column, facts, table)
    exact = facts.name.strip().lower() == column.name
    evidence = [f"{facts.name!r} is the contract's name" if exact else "the header says so" if name >= 0.85 else
                f"the header fits ({_share(name)})"] if name else []
    if column.kind == "code" and column.name in vocabulary().values and fit > 0.9 and facts.distinct >= 2:
        # Words that are known say a status by themselves, but for "yes" and "no", which may say anything.
        by_words = 0.0 if _yes_or_no(facts) else BY_WORDS
        made = max(name * fit, by_words if name < CHECK else 0.5 + 0.5 * name)
    elif name:
        made = name * fit if fit < 1 else name
    else:
        made = 0.0
    return min(1.0, made), [*evidence, seen]


def matched(
    facts: Mapping[str, Facts], hints: str, *, only: Iterable[str] | None = None, whole: bool = True
) -> Matched | None:
    """The table that a set of columns feeds best, with its columns; None where no table fits.

    `hints` are the names of the file, its folder and its sheet. `only` are the tables that are looked at; unless they
    are `whole`, the columns are some of a table alone.
    """
    columns = list(facts.values())
    found = [m for name in (only or TABLES) if (m := _as_table(TABLES[name], columns, hints, whole)) is not None]
    return max(found, key=lambda m: m.score, default=None)


def of_entries(facts: Mapping[str, Facts], hints: str, rows_of: str) -> Matched | None:
    """The log that the entries of a list within objects feed: by their own keys, and the job's id of the object."""
    own = {n: f for n, f in facts.items() if n.startswith(f"{rows_of}.")}
    around = [(score(JOBS.column("job_id"), f, JOBS.name)[0], n) for n, f in facts.items() if n not in own]
    best, name = max(around, default=(0.0, ""))
    return matched(own | ({name: facts[name]} if best >= CHECK else {}), hints, only=LOGS[1:])


STANDARD = {
    "job_id": "trace concept:name", "step": "concept:name", "ended_at": "time:timestamp", "technician": "org:resource",
}
"""The keys of the standard IEEE 1849 (XES) by the columns of steps that they mean."""


def of_standard(facts: Mapping[str, Facts]) -> Matched | None:
    """The match of an event log in XES, whose keys are those of the standard; None where it lacks them."""
    there = {t: k for t, k in STANDARD.items() if k in facts}
    if not {"job_id", "step", "ended_at"} <= set(there):
        return None
    guesses = {t: Guess(t, k, BY_STANDARD, ("the key of the standard IEEE 1849",)) for t, k in there.items()}
    return Matched("steps", guesses, {}, 1.0)


def _as_table(table: Table, columns: Sequence[Facts], hints: str, whole: bool) -> Matched | None:
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    names = {c.name.strip().lower() for c in columns}
    if table.name not in LOGS and whole:
        named = [c for c in table.columns if c.name in names]
        needed = [c for c in table.columns if c.required and c.default is None]
        if len(named) < ALL_OF_CONTRACT * len(needed) or len(named) < min(2, len(table.columns)):
            return None
        if table.name == "tests" and "outcome" in names:
            return None
    scores = np.zeros((len(columns), len(table.columns)))
    seen: dict[tuple[int, int], list[str]] = {}
    for i, facts in enumerate(columns):
        for j, column in enumerate(table.columns):
            scores[i, j], seen[i, j] = score(column, facts, table.name)
    rows, targets = linear_sum_assignment(-np.where(scores >= CANDIDATE, scores, 0.0))
    chosen = {int(j): int(i) for i, j in zip(rows, targets, strict=True) if scores[i, j] >= CANDIDATE}
    guesses: dict[str, Guess] = {}
    candidates: dict[str, tuple[tuple[str, float], ...]] = {}
    taken = {i: j for j, i in chosen.items() if scores[i, j] >= CHECK}
    for j, column in enumerate(table.columns):
        order = sorted(range(len(columns)), key=lambda i: -scores[i, j])
        at = chosen.get(j)
        if at is not None and scores[at, j] >= CHECK:
            rivals = tuple(
                columns[i].name for i in order
                if i != at and scores[i, j] >= scores[at, j] - MARGIN
                and not (i in taken and scores[i, taken[i]] >= scores[i, j] + MARGIN)
            )
            other = max((float(scores[at, k]) for k in range(len(table.columns)) if k != j and
                         not (k in chosen and chosen[k] != at and scores[chosen[k], k] >= scores[at, k])), default=0.0)
            sure = float(scores[at, j])
            doubts = []
            if rivals:
                doubts.append("it could be " + " or ".join(repr(r) for r in rivals[:MOST_CANDIDATES]) + " as well")
            elif other > sure - MARGIN:
                doubts.append("the column could mean another one of the contract")
            guesses[column.name] = _with_codes(
                Guess(column.name, columns[at].name, sure, tuple(seen[at, j]), tuple(doubts), rivals),
                column, columns[at],
            )
        else:
            left = [i for i in order if scores[i, j] >= CANDIDATE and i not in taken]
            like = [(columns[i].name, float(scores[i, j])) for i in left]
            if like:
                candidates[column.name] = tuple(like[:MOST_CANDIDATES])
    telling = sum(n in guesses for n in DEFINING.get(table.name, guesses))
    what = NEEDED.get(table.name)
    least = 2 if what is not None and what not in guesses else LEAST_DEFINING.get(table.name, 1)
    if whole and telling < least:
        return None
    worth = sum(
        g.sure * (3 if n in DEFINING.get(table.name, ()) else 2 if table.column(n).required else 1)
        for n, g in guesses.items()
    )
    worth -= sum(1.5 for c in table.columns if c.required and not c.numbered and c.default is None
                 and c.name not in guesses)
    worth += _hinted(table.name, hints)
    if table.name not in LOGS:
        worth += 4 if all(g.sure == 1.0 for g in guesses.values()) and len(guesses) == len(columns) else 0
    return Matched(table.name, guesses, candidates, worth)


def _hinted(table: str, hints: str) -> float:
    if table in hints.lower().split():
        return 3.0
    words = notions_of(hints)
    return 2.0 if any(w & set(vocabulary().tables.get(table, ())) for w in words) else 0.0


def _with_codes(guess: Guess, column: Column, facts: Facts) -> Guess:
    """A guess of a code column with the meaning of its texts."""
    if column.kind != "code":
        return guess
    kind = kind_of_codes(column)
    values: dict[str, str] = {}
    unread: list[tuple[str, int]] = []
    likely: list[str] = []
    for text, n in facts.values:
        if text in facts.missing and code_of(text, kind, column.allowed)[0] is None:
            continue
        code, sure = code_of(text, kind, column.allowed)
        if code is None:
            unread.append((text, n))
        else:
            if text.lower() != code:
                values[text] = code
            if sure < 1.0:
                likely.append(text)
    if not facts.values and facts.distinct:
        guess = replace(guess, doubts=(*guess.doubts, _different(facts)))
    return replace(guess, values=values, unread=tuple(unread), guessed=tuple(likely))


def with_ids(
    found: Mapping[str, tuple[Matched, Mapping[str, Facts]]], shared: Mapping[tuple[str, str, str], float]
) -> dict[str, Matched]:
    """The matches, with what values shared between sets say of job ids.

    `shared` gives, by set, column and set of jobs, the share of its rows whose value is a job id there.
    """
    made = {name: match for name, (match, _) in found.items()}
    jobs = [name for name, match in made.items() if match.table == JOBS.name and "job_id" in match.guesses]
    for name, (match, _) in found.items():
        if match.table not in LOGS[1:] or not jobs:
            continue
        mine = [(share, column) for (s, column, j), share in shared.items() if s == name and j in jobs]
        best = sorted(mine, reverse=True)
        if not best:
            continue
        share, column = best[0]
        guess = match.guesses.get("job_id")
        if share >= 0.8 and (guess is None or guess.source != column) and (guess is None or guess.sure < SURE or
                all(s < 0.5 for s, c in best if c == guess.source)):
            taken = [t for t, g in match.guesses.items() if g.source == column and t != "job_id"]
            guesses = {t: g for t, g in match.guesses.items() if t not in taken}
            guesses["job_id"] = Guess("job_id", column, BY_IDS, (f"{_share(share)} {ARE_IDS}",))
            made[name] = replace(match, guesses=guesses)
        elif guess is not None:
            own = max((s for s, c in best if c == guess.source), default=0.0)
            if own >= 0.8:
                better = replace(guess, sure=max(guess.sure, 0.95), doubts=(),
                                 evidence=(*guess.evidence, f"{_share(own)} {ARE_IDS}"))
            elif own < 0.3:
                better = replace(guess, doubts=(*guess.doubts, f"only {_share(own)} {ARE_IDS}"))
            else:
                better = replace(guess, evidence=(*guess.evidence, f"{_share(own)} {ARE_IDS}"))
            made[name] = replace(match, guesses=match.guesses | {"job_id": better})
    return made
