"""Whether what a depot says it did not find, or cannot tell, is so: each sentence against plain queries of the store.

The queries are written here anew, ground by ground, and so is what a kind of statement needs to be said at all.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from rqa.answers.core.grounds import CANNOT, Sentence

_IN = "j.disposition <> 'open' and j.closed_on <= {day} and j.closed_on >= {first} and j.closed_on < {after}"
_MONTHS = (
    "select count(distinct date_trunc('month', {what})) from {of} where last_day({what}) {wait} <= {day} and {only}"
)
_RETURNING = (
    "select count(*) from (select 1 from jobs where disposition <> 'cancelled' group by unit_id having count(*) >= 2)"
)
_CHECKED = (
    "(select coalesce(s.done_on, j.closed_on, j.opened_on) as on_day, s.outcome, s.attempt from steps as s "
    "left join jobs as j on j.job_id = s.job_id)"
)
_CLEAN = (
    "(select coalesce(j.closed_on, j.opened_on) as on_day from jobs as j where j.job_id in "
    "(select job_id from steps where attempt = 1 and outcome in ('pass', 'fail') "
    "union select job_id from diagnostics where run = 1))"
)


def _rows(table: str, only: str = "true") -> str:
    return f"select count(*) from {table} where {only}"


def _months(of: str, what: str, only: str, *, wait: str = "", more: int = 0) -> str:
    counted = _MONTHS.format(what=what, of=of, wait=wait, day="{day}", only=only)
    return f"select ({counted}) - {more}"


_REPAIRED = "disposition = 'repaired' and closed_on is not null and closed_on <= {day}"
_ALONE = f"{_REPAIRED} and job_id not in (select job_id from overlapping_jobs)"
_WAIT = "+ {window}"
HOLDS: Mapping[str, str] = {
    "jobs": _rows("jobs"),
    "closed_jobs": _rows("jobs", _ALONE),
    "matured_jobs": _rows("jobs", f"{_ALONE} and closed_on <= {{day}} - {{window}}"),
    "repeat_units": _RETURNING,
    **{c: _rows("jobs", f"{c} is not null") for c in ("found", "complaint", "billing", "labour_minutes", "parts_cost",
                                                      "freight_cost")},
    "technician": "select (select count(technician) from jobs) + (select count(technician) from steps)",
    "steps": _rows("steps"),
    "checks": _rows("steps", "outcome = 'pass' or outcome = 'fail'"),
    **{c: _rows("steps", f"{c} is not null") for c in ("bench", "tool", "fault")},
    "step_times": _rows("steps", "coalesce(started_at, ended_at) is not null"),
    "step_values": _rows("steps", "value is not null"),
    "diagnostics": _rows("diagnostics"),
    "station": _rows("diagnostics", "station is not null"),
    "test_values": _rows("diagnostics", "value is not null"),
    "test_limits": _rows("diagnostics", "coalesce(lower_limit, upper_limit) is not null"),
    "logs": "select (select count(*) from steps) + (select count(*) from diagnostics)",
    "parts": _rows("parts"),
    "lot": _rows("parts", "lot is not null"),
    "procedures": _rows("procedures"),
    "described_jobs": _rows("jobs", "procedure in (select procedure from procedures)"),
    "subsystems": _rows("procedures", "len(coalesce(subsystems, [])) > 0"),
    "isolation": _rows("procedures", "phase = 'isolate' and list_contains(hazards, 'battery')"),
    "tests": _rows("tests"),
    "covered_tests": _rows("diagnostics", "test in (select test from tests)"),
    **{t: _rows(t) for t in ("pairings", "retirements", "actions", "targets", "studies")},
    "final_comebacks": _months("jobs", "closed_on", _ALONE, wait=_WAIT),
    "earlier_comebacks": _months("jobs", "closed_on", _ALONE, wait=_WAIT, more=1),
    "final_checks": _months(_CHECKED, "on_day", "attempt = 1 and outcome in ('pass', 'fail')"),
    "earlier_checks": _months(_CHECKED, "on_day", "attempt = 1 and outcome in ('pass', 'fail')", more=1),
    "final_clean": _months(_CLEAN, "on_day", "true"),
    "earlier_clean": _months(_CLEAN, "on_day", "true", more=1),
    "closed_there": _rows("jobs as j", _IN),
    "opened_there": _rows("jobs as j", "j.opened_on <= {day} and j.opened_on >= {first} and j.opened_on < {after}"),
    "logged_there": _rows("jobs as j", f"{_IN} and j.job_id in (select job_id from steps)"),
    "tested_there": _rows("jobs as j", f"{_IN} and j.job_id in (select job_id from diagnostics)"),
    "isolation_there": _rows(
        "jobs as j", f"{_IN} and j.job_id in (select job_id from steps) and j.procedure in "
        "(select procedure from procedures where phase = 'isolate' and list_contains(hazards, 'battery'))"),
}
"""A count for each ground, above 0 where it is there."""
NEEDED: tuple[tuple[str, tuple[str, ...]], ...] = (
    (r"batter", ("steps", "procedures", "isolation")),
    (r"^Nothing to act on|come-back|came back|come back", ("repeat_units",)),
    (r"on what the job had worked on|attributed to a step|covered by some test", ("found",)),
    (r"attributed to a step", ("steps", "procedures", "subsystems")),
    (r"covered by some test", ("tests", "diagnostics")),
    (r"\bstations?\b", ("diagnostics", "station")),
    (r"passed again with nothing done", ("diagnostics", "steps")),
    (r"runs of diagnostics", ("diagnostics",)),
    (r"first-pass yield", ("checks",)),
    (r"first checks that failed", ("checks",)),
    (r"\bgoal", ("targets",)),
    (r"\baction\b", ("actions",)),
    (r"breach of the procedure|breach was met", ("steps", "procedures")),
    (r"overlap in time", ("repeat_units",)),
)
"""What a statement of a kind cannot do without, whatever it says it rests on."""
NOT_TOLD = re.compile(r"[Cc]annot be told|there is no earlier month|are not final yet")
"""Parts of a statement, clauses or sentences, that tell nothing."""


def sentences_in(thing: Any) -> Iterator[Sentence]:
    """Every sentence that something holds: facts, tuples, mappings."""
    if isinstance(thing, Sentence):
        yield thing
    elif isinstance(thing, Mapping):
        yield from sentences_in(tuple(thing.values()))
    elif isinstance(thing, tuple | list):
        for part in thing:
            yield from sentences_in(part)
    elif is_dataclass(thing) and not isinstance(thing, type):
        yield from sentences_in(tuple(getattr(thing, f.name) for f in fields(thing)))


def is_all_clear(said: Sentence) -> bool:
    """Whether a sentence states that something was not found."""
    return said.told and bool(said.rests_on) and bool(said)


def false_claims(depot: Any, thing: Any) -> Iterator[str]:
    """What is told though a ground of it is absent, and what is said to be lacking and is there."""
    for said in dict.fromkeys(sentences_in(thing)):
        absent = {name for name in said.rests_on if not _holds(depot, name, said)}
        if is_all_clear(said):
            text = ";".join(part for part in re.split(r"[;.] ", said.short) if not NOT_TOLD.search(part))
            needed = {n for kind, names in NEEDED if re.search(kind, text) for n in names if not _holds(depot, n, said)}
            if absent | needed:
                yield f"told without {', '.join(sorted(absent | needed))}: {said}"
        elif not said.told:
            present = [name for name in said.lacks if name in HOLDS and _holds(depot, name, said)]
            if present:
                yield f"said to lack {', '.join(present)}: {said}"
            if CANNOT.strip().lower()[:-1] not in said.lower() and "no earlier month" not in said:
                yield f"lacks {', '.join(said.lacks)} and does not say so: {said}"


def _holds(depot: Any, ground: str, said: Sentence) -> bool:
    first, last = said.months or (date(1990, 1, 1), date(2099, 12, 1))
    after = date(last.year + last.month // 12, last.month % 12 + 1, 1)
    values = {"day": depot.as_of.date(), "first": first, "after": after}
    sql = HOLDS[ground].format(window=said.window, **{n: f"date '{v}'" for n, v in values.items()})
    return bool(depot.query(f"select ({sql}) as number")["number"][0] > 0)
