"""Sheets that hold more than one table, or none yet: tests and parts in columns of a job, a row for each event."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from rqa.contract import TABLES
from rqa.proposals.columns import CODES, Facts
from rqa.proposals.matching import CHECK, LOGS, NEEDED, SURE, Matched, score
from rqa.proposals.structure import order_said
from rqa.proposals.vocabulary import UNSURE, code_of, folded, notions_of
from rqa.store.looked import Looked

LEAST = 3
"""Columns of one kind from which on they are taken for a table on its side."""
KNOWN = 0.9
"""Share of a column's values that must be known words of an outcome."""
NO_STEP = {"other", "bill", "status", "open", "close"}
"""Notions of headers whose times are not those of a step."""
YES_NO = frozenset((
    "yes", "no", "y", "n", "ja", "nein", "j", "oui", "non", "o", "si", "s", "sim", "nao", "tak", "nie", "nee",
    "true", "false", "1", "0",
))
STARTS = ("start", "started", "begin", "began", "beginn", "debut", "inicio", "inizio", "poczatek", "in", "open",
          "assign")
ENDS = ("complete", "completed", "end", "ended", "finish", "finished", "stop", "ende", "fin", "fine", "fim", "koniec",
        "out",
        "close", "done")


@dataclass(frozen=True)
class WideTable:
    """A second table in the columns of a set: which of its columns become rows, and where the others come from.

    `name` takes the names of the columns and `value` their cells; `given` are the other columns, as TOML values with
    what they rest on.
    """

    table: str
    name: str
    value: str
    columns: Mapping[str, str]
    why: str
    given: Mapping[str, tuple[object, str]] = field(default_factory=dict)
    unread: tuple[str, ...] = ()


@dataclass(frozen=True)
class EventLog:
    """A log with a row for each event: the column that tells its kind, and the kinds that begin and end an attempt."""

    kind: str
    start: tuple[str, ...]
    end: tuple[str, ...]
    time: str
    """The column of the contract that the time of an event was taken for."""


def event_log(match: Matched | None, facts: Mapping[str, Facts]) -> EventLog | None:
    """The column that tells starts from ends, in a log of steps with one time for both; None where there is none."""
    if match is None or match.table != "steps" or "step" not in match.guesses or "job_id" not in match.guesses:
        return None
    if len({"started_at", "ended_at"} & set(match.guesses)) != 1:
        return None
    of_time = "ended_at" if "ended_at" in match.guesses else "started_at"
    time = facts[match.guesses[of_time].source]
    if time.times is None or not time.times.formats:
        return None
    used = {g.source for g in match.guesses.values()}
    for one in facts.values():
        texts = [v for v, _ in one.values]
        if one.name in used or not 2 <= len(texts) <= 8:
            continue
        start = tuple(t for t in texts if folded(t) in STARTS)
        end = tuple(t for t in texts if folded(t) in ENDS)
        if start and end:
            return EventLog(one.name, start, end, of_time)
    return None


def wide_tables(
    match: Matched | None, facts: Mapping[str, Facts], name: str, looked: Looked
) -> tuple[WideTable, ...]:
    """The tables that stand in the columns of a set of jobs which its own table does not use."""
    if match is not None and match.table != "jobs":
        return _check_sheet(match, facts)
    job = _job_column(match, facts)
    if job is None:
        return ()
    used = {g.source for g in match.guesses.values()} if match is not None else {job}
    left = [f for f in facts.values() if f.name not in used and f.given]
    made = [_tests(left, job, match, facts), _parts(left, job),
            _steps(left, job, match, facts, name, looked)]
    return tuple(m for m in made if m is not None)


def _check_sheet(match: Matched, facts: Mapping[str, Facts]) -> tuple[WideTable, ...]:
    """A sheet that looks like a log, and whose columns each hold the outcomes of one check."""
    job = match.guesses["job_id"].source if "job_id" in match.guesses else _job_column(None, facts)
    what = NEEDED.get(match.table)
    if job is None or match.table not in LOGS[1:] or (what in match.guesses and match.guesses[what].sure >= SURE):
        return ()
    outcomes = [f for f in facts.values() if f.name != job and _is_outcome(f)]
    made = _tests(outcomes, job, None, facts) if len(outcomes) >= LEAST else None
    return (made,) if made is not None else ()


def _is_outcome(one: Facts) -> bool:
    return bool(one.values) and one.distinct <= CODES and _outcome_share(one) >= KNOWN


def _job_column(match: Matched | None, facts: Mapping[str, Facts]) -> str | None:
    if match is not None:
        return match.guesses["job_id"].source if "job_id" in match.guesses else None
    column = TABLES["jobs"].column("job_id")
    likely = [(score(column, f, "jobs")[0], f.name) for f in facts.values()]
    best = max(likely, default=(0.0, ""))
    return best[1] if best[0] >= CHECK else None


def _outcome_share(one: Facts) -> float:
    allowed = TABLES["diagnostics"].column("outcome").allowed
    known = sum(n for v, n in one.values if code_of(v, "outcome", allowed)[1] >= UNSURE)
    whole = sum(n for v, n in one.values if v not in one.missing)
    return known / whole if whole else 0.0


def _is_yes_or_no(one: Facts) -> bool:
    return all(folded(v) in YES_NO for v, _ in one.values if v not in one.missing)


def _tests(
    left: Sequence[Facts], job: str, match: Matched | None, facts: Mapping[str, Facts]
) -> WideTable | None:
    """Columns that each hold the outcomes of one test."""
    # Beside a job a yes or a no tells of anything, so that only a header can say that it is a test's.
    outcomes = [f for f in left if _is_outcome(f)
                and not (match is not None and _is_yes_or_no(f) and not any("test" in w for w in notions_of(f.name)))]
    named = [f for f in outcomes if any("test" in w for w in notions_of(f.name))]
    chosen = outcomes if len(outcomes) >= LEAST else named
    if not chosen:
        return None
    allowed = TABLES["diagnostics"].column("outcome").allowed
    texts = {v: code_of(v, "outcome", allowed)[0] for f in chosen for v, _ in f.values}
    values = {t: c for t, c in texts.items() if c is not None and c != t.lower()}
    unread = tuple(t for t, c in texts.items() if c is None and not any(t in f.missing for f in chosen))
    times = [f for f in left if f.times is not None and any("test" in w for w in notions_of(f.name))]
    when = times[0].name if len(times) == 1 else None
    closed = match.guesses["closed_at"].source if match is not None and "closed_at" in match.guesses else None
    at = when or closed or next((f.name for f in facts.values() if f.times is not None), None)
    outcome: object = {"column": "outcome", "values": values} if values else "outcome"
    given: dict[str, tuple[object, str]] = {
        "job_id": (job, ""), "outcome": (outcome, ""),
    }
    if at is not None:
        given["run_at"] = (at, "" if when else "no column tells when a test was run; this time stands for it")
    return WideTable("diagnostics", "test", "outcome", {f.name: f.name for f in chosen},
                     "each of these columns holds words such as " + ", ".join(repr(v) for v, _ in chosen[0].values[:3]),
                     given, unread)


def _parts(left: Sequence[Facts], job: str) -> WideTable | None:
    """Numbered columns of parts: part 1, part 2, part 3."""
    found = {}
    for one in left:
        number = re.search(r"(\d+)\W*$", one.name)
        if number and any("part" in w for w in notions_of(one.name)) and one.times is None and not one.decimal:
            found[number[1]] = one.name
    if len(found) < 2:
        return None
    return WideTable("parts", "line", "part_no", found, "numbered columns of parts", {"job_id": (job, "")})


def _steps(
    left: Sequence[Facts], job: str, match: Matched | None, facts: Mapping[str, Facts], name: str, looked: Looked
) -> WideTable | None:
    """Columns that each hold the time at which one step was done, between opening and closing."""
    ends = [
        facts[match.guesses[t].source] if match is not None and t in match.guesses else None
        for t in ("opened_at", "closed_at")
    ]
    found = []
    for one in left:
        said = set[str]().union(*notions_of(one.name)) if notions_of(one.name) else set()
        if one.times is None or not one.times.formats or said & NO_STEP:
            continue
        first = ends[0] is None or order_said(name, ends[0], one, looked, before=True)
        last = ends[1] is None or order_said(name, one, ends[1], looked, before=True)
        if first and last:
            found.append(one)
    if len(found) < LEAST:
        return None
    return WideTable(
        "steps", "step", "ended_at", {f.name: f.name for f in found}, "each of these columns holds times",
        {"job_id": (job, ""), "outcome": ({"constant": "done"},
                                          "no column tells the outcome; no step counts as checked")},
    )
