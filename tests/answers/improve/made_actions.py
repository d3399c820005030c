"""A depot of some thousand jobs with actions in it, made by the engine: which jobs come back is set by arithmetic."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

from rqa.depot import Depot
from rqa.measures.keep import keep
from tests.depots import depot_of

FIRST, STARTED = date(2025, 1, 1), date(2026, 1, 12)
DAYS = 500
"""Closing days; the last come-backs of all are seen some weeks later."""
PROCEDURES = [
    {"procedure": "board", "step_seq": 1, "step": "seat board", "subsystems": ["board", "display"]},
    {"procedure": "screen", "step_seq": 1, "step": "fit screen", "subsystems": ["display"]},
]
ACTIONS = [
    {"action_id": "ACT-1", "what": "cable guide", "started_on": STARTED,
     "scope": "model=Marl-10; procedure=board; step=seat board", "expected_change": "by half", "owner": "lead"},
    {"action_id": "ACT-2", "what": "other glue", "started_on": date(2025, 11, 3),
     "scope": "procedure=screen; step=fit screen", "expected_change": "fewer: by half"},
]
JOBS = """
insert into jobs (job_id, unit_id, model, site, procedure, opened_at, disposition, closed_at, found, billing,
                  opened_on, closed_on)
with made as (
    select i, {first} + cast(i % {days} as integer) as day,
        case when i % 3 = 0 then 'Marl-8' else 'Marl-10' end as model,
        case when i // 3 % 2 = 0 then 'board' else 'screen' end as procedure,
        case when i // 6 % 2 = 0 then 'Alder' else 'Birch' end as site,
        (i * 7919 + 131) % 1009 as lot
    from range({jobs}) as r(i)
),
rated as (
    select *, case
        when procedure = 'board' and model = 'Marl-10' then case when day < {started} then {before} else {after} end
        else 60 end as in_a_thousand
    from made
)
select 'J' || i, 'U' || i, model, site, procedure, day - interval 2 day, 'repaired', day + interval 9 hour, 'board',
    'paid', day - 2, day
from rated
union all
select 'R' || i, 'U' || i, model, site, procedure, day + interval 12 day, 'not_economic', day + interval 14 day,
    'display', 'warranty', day + 12, day + 14
from rated
where lot < in_a_thousand
"""
STEPS = """
insert into steps (job_id, step_seq, attempt, step, outcome, done_on)
select job_id, 1, 1, case when procedure = 'board' then 'seat board' else 'fit screen' end,
    case when hash(job_id) % 20 = 0 then 'fail' else 'pass' end, closed_on
from jobs
where job_id like 'J%'
"""


@contextmanager
def acting_depot(
    *,
    jobs: int = 9000,
    before: int = 90,
    after: int = 30,
    as_of: Any = None,
    actions: Any = ACTIONS,
    more: str = "",
) -> Iterator[Depot]:
    """A depot in which the come-backs of Marl-10 boards change at the start of ACT-1; rates are given in a thousand."""

    def fill(connection: Any) -> None:
        places = {"first": f"date '{FIRST}'", "started": f"date '{STARTED}'"}
        connection.execute(JOBS.format(jobs=jobs, days=DAYS, before=before, after=after, **places))
        connection.execute(STEPS)
        if more:
            connection.execute(more)
        keep(connection)

    with depot_of({"procedures": PROCEDURES, "actions": actions}, as_of, kept=fill) as depot:
        yield depot
