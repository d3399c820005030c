"""Job ids that files write in different forms, W25001 and W-25001: what must be left out for them to meet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rqa.proposals.columns import Facts
from rqa.proposals.matching import LOGS, Guess, Matched
from rqa.store.looked import Looked
from rqa.words import percent

FORMS: tuple[tuple[str, str], ...] = (
    ("[^A-Za-z0-9]+", "without the signs between letters and digits"),
    ("^[^0-9]+", "without what stands before the number"),
    ("^[^0-9]*0*", "without what stands before the number, zeros included"),
)
"""What is left out of ids, from the least to the most, and how that is said."""
MEETS = 0.8
"""Share of a log's rows that must meet a job in the new form; and below which they do not meet one as they are."""
ALL_LEFT = 0.999
"""Share of the jobs' ids that must still differ from each other in the new form."""


@dataclass(frozen=True)
class _Ids:
    """The column of job ids of one set."""

    name: str
    guess: Guess
    facts: Facts


def with_one_form(
    found: Mapping[str, tuple[Matched, Mapping[str, Facts]]], looked: Looked
) -> dict[str, Matched]:
    """The matches, with what is left out of job ids where the ids of a log meet those of the jobs only then."""
    made = {name: match for name, (match, _) in found.items()}
    ids = [_Ids(n, m.guesses["job_id"], f[m.guesses["job_id"].source]) for n, (m, f) in found.items()
           if "job_id" in m.guesses]
    jobs = [i for i in ids if made[i.name].table == "jobs"]
    logs = [i for i in ids if made[i.name].table in LOGS[1:]]
    if len(jobs) != 1 or not jobs[0].facts.given:
        return made
    home = jobs[0]
    apart = [i for i in logs if i.facts.given and _met(i, home, looked) < MEETS]
    for pattern, said in FORMS if apart else ():
        meeting = [i for i in apart if _met(i, home, looked, pattern) >= MEETS]
        kept = looked.distinct_without(home.name, home.guess.source, pattern)
        if not meeting or kept < ALL_LEFT * home.facts.distinct:
            continue
        # All ids are brought to one form, those of logs that met the jobs before included.
        for one in (home, *logs):
            if looked.changed_without(one.name, one.guess.source, pattern):
                made[one.name] = _left_out(made[one.name], one, pattern, said, meeting)
        for one in meeting:
            share = percent(round(_met(one, home, looked, pattern), 2), decimals=0)
            guess = made[one.name].guesses["job_id"]
            doubts = tuple(d for d in guess.doubts if not d.endswith("ids of the jobs"))
            better = replace(guess, doubts=(*doubts, f"{share} of its values are ids of the jobs only {said}"))
            made[one.name] = replace(made[one.name], guesses=made[one.name].guesses | {"job_id": better})
        break
    return made


def _met(log: _Ids, jobs: _Ids, looked: Looked, pattern: str = "") -> float:
    return looked.shared(log.name, log.guess.source, jobs.name, jobs.guess.source, without=pattern)


def _left_out(match: Matched, one: _Ids, pattern: str, said: str, meeting: Sequence[_Ids]) -> Matched:
    """A match whose job ids are read in the new form."""
    guess = replace(match.guesses["job_id"], replace=((pattern, ""),))
    if one not in meeting:
        others = " and ".join(m.name for m in meeting)
        guess = replace(guess, doubts=(*guess.doubts, f"its ids meet those of {others} only {said}"))
    return replace(match, guesses=match.guesses | {"job_id": guess})
