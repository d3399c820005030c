"""Check sheets in words that the vocabulary does not know: a column a check, and the same few words in each."""

import re
from collections.abc import Mapping

from rqa.contract import TABLES
from rqa.proposals.columns import Facts
from rqa.proposals.matching import CHECK, LOGS, NEEDED, SURE, Matched
from rqa.proposals.vocabulary import code_of, folded, notions_of, sure_of
from rqa.proposals.wide import LEAST, YES_NO, WideTable
from rqa.words import counted

WORDS = range(2, 5)
"""How many different words the columns of a check sheet share."""
LONGEST = 20
"""Signs of a word, at most; longer texts are notes."""
PERSON = re.compile(r"\b[^\W\d_]\. ?[^\W\d_]{2}")
"""How a short name of a person is written: a letter, a point and a name."""
OF_JOBS = 0.8
"""Share of the values of a column that must be ids of the jobs."""


def may_be_check_sheet(match: Matched | None, facts: Mapping[str, Facts]) -> bool:
    """Whether a set is none that is known for sure, and has columns that share their few words."""
    if match is not None and match.table not in LOGS[1:]:
        return False
    chosen = {f.name for f in _alike(facts)}
    what = match.guesses.get(NEEDED[match.table]) if match is not None else None
    return bool(chosen) and (what is None or what.sure < SURE or what.source in chosen)


def check_sheet(match: Matched | None, facts: Mapping[str, Facts], ids: Mapping[str, float]) -> WideTable | None:
    """The tests of a check sheet, its words to be given codes; None where the set is none.

    `ids` gives the share of each column's values that are ids of the jobs.
    """
    share, job = max(((s, c) for c, s in ids.items()), default=(0.0, ""))
    if share < OF_JOBS or not may_be_check_sheet(match, facts):
        return None
    chosen = [f for f in _alike(facts) if f.name != job]
    if len(chosen) < LEAST:
        return None
    allowed = TABLES["diagnostics"].column("outcome").allowed
    rows: dict[str, int] = {}
    for one in chosen:
        for text, n in one.values:
            rows[text] = rows.get(text, 0) + (n if text not in one.missing else 0)
    codes = {t: code_of(t, "outcome", allowed)[0] for t, n in rows.items() if n}
    values = {t: c for t, c in codes.items() if c is not None and c != t.lower()}
    unread = tuple(t for t, c in codes.items() if c is None)
    many = counted(sum(rows[t] for t in unread), "value is", "values are")
    refused = f"{many} refused until each of the texts has a code in values" if unread else ""
    outcome: object = {"column": "outcome", "values": values} if values else "outcome"
    given: dict[str, tuple[object, str]] = {"job_id": (job, ""), "outcome": (outcome, refused)}
    times = [f.name for f in facts.values() if f.times is not None]
    if times:
        tested = [name for name in times if any("test" in w for w in notions_of(name))]
        said = "no column tells when a test was run; this time stands for it"
        if len(tested) == 1:
            said = ""
        elif len(times) == 1:
            said = "it is the only column of times"
        given["run_at"] = ((tested or times)[0], said)
    shown = ", ".join(repr(t) for t in list(codes)[:WORDS.stop])
    why = f"{counted(len(chosen), 'column')} share the same words ({shown}), so each is taken for a check"
    return WideTable("diagnostics", "test", "outcome", {f.name: f.name for f in chosen}, why, given, unread)


def _alike(facts: Mapping[str, Facts]) -> list[Facts]:
    """The columns that share the same two to four short words; none where fewer than three have them."""
    words = {name: found for name, one in facts.items() if (found := _words(one))}
    best: list[Facts] = []
    for shared in {w for w in words.values() if len(w) in WORDS}:
        if all(folded(w) in YES_NO for w in shared):
            # A yes or a no tells of anything.
            continue
        among = [name for name, own in words.items() if own <= shared]
        # A check that never failed has one of the words alone.
        if sum(len(words[name]) > 1 for name in among) >= LEAST and len(among) > len(best):
            best = [facts[name] for name in among]
    return best


def _words(one: Facts) -> frozenset[str]:
    """The words of a column that holds only a few; none where it holds something else."""
    if one.times is not None or one.clock or one.number > 0 or _is_of_people(one):
        return frozenset()
    found = frozenset(t for t, _ in one.values if t not in one.missing)
    return found if len(found) < WORDS.stop and all(len(t) <= LONGEST for t in found) else frozenset()


def _is_of_people(one: Facts) -> bool:
    """Whether a column names people: who did, checked and released a job share their few names, too."""
    return sure_of(one.name, "diagnostics", "technician") >= CHECK or any(PERSON.search(t) for t, _ in one.values)
