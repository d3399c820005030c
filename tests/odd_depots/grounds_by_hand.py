"""The grounds of statements, asked a second way: plain SQL over the contract's own tables, from what each one means.

Those that look at some months or at a window are asked for any month and the shortest window, since a sentence does not
say which it was: where even that is absent, nothing may rest on it.
"""

from rqa.depot import Depot

CLOSED = "disposition = 'repaired' and closed_on is not null"
"""A repair that was closed."""
ANY = {
    "jobs": "jobs", "steps": "steps", "diagnostics": "diagnostics", "parts": "parts", "procedures": "procedures",
    "tests": "tests", "pairings": "pairings", "retirements": "retirements", "actions": "actions",
    "targets": "targets", "studies": "studies",
    "closed_jobs": f"jobs where {CLOSED}",
    "matured_jobs": f"jobs where {CLOSED} and closed_on + 1 <= $day",
    "found": "jobs where found <> ''", "complaint": "jobs where complaint <> ''", "billing": "jobs where billing <> ''",
    "labour_minutes": "jobs where labour_minutes >= 0", "parts_cost": "jobs where parts_cost >= 0",
    "freight_cost": "jobs where freight_cost >= 0",
    "technician": "(select technician from jobs union all select technician from steps) where technician <> ''",
    "checks": "steps where outcome = 'pass' or outcome = 'fail'",
    "bench": "steps where bench <> ''", "tool": "steps where tool <> ''", "fault": "steps where fault <> ''",
    "step_times": "steps where coalesce(started_at, ended_at) is not null",
    "step_values": "steps where value is not null",
    "station": "diagnostics where station <> ''", "test_values": "diagnostics where value is not null",
    "test_limits": "diagnostics where coalesce(lower_limit, upper_limit) is not null",
    "lot": "parts where lot <> ''",
    "logs": "(select job_id from steps union all select job_id from diagnostics)",
    "described_jobs": "jobs where procedure in (select procedure from procedures)",
    "subsystems": "procedures where len(coalesce(subsystems, [])) > 0",
    "isolation": "procedures where phase = 'isolate' and list_contains(hazards, 'battery')",
    "covered_tests": "diagnostics where test in (select test from tests)",
    "closed_there": "jobs where closed_on is not null",
    "opened_there": "jobs where opened_on is not null",
    "logged_there": "steps where job_id in (select job_id from jobs where closed_on is not null)",
    "tested_there": "diagnostics where job_id in (select job_id from jobs where closed_on is not null)",
    "isolation_there": "steps where job_id in (select job_id from jobs where closed_on is not null "
                       "and procedure in (select procedure from procedures "
                       "where phase = 'isolate' and list_contains(hazards, 'battery')))",
    "final_comebacks": f"jobs where {CLOSED} and last_day(closed_on) + 1 <= $day",
    "final_checks": "steps where outcome in ('pass', 'fail') and attempt = 1",
    "final_clean": "(select job_id from steps union all select job_id from diagnostics)",
}
"""Each holds where there is any such row."""
MONTHS = {
    "earlier_comebacks": f"select last_day(closed_on) as month from jobs where {CLOSED}",
    "earlier_checks": "select last_day(coalesce(s.done_on, j.closed_on, j.opened_on)) as month from steps as s "
                      "left join jobs as j on j.job_id = s.job_id "
                      "where s.outcome in ('pass', 'fail') and s.attempt = 1",
    "earlier_clean": "select last_day(coalesce(closed_on, opened_on)) as month from jobs",
}
"""Each holds where the rows are of more than one month that is over."""
SCOPED = ("matured_jobs", *(name for name in ANY if name.endswith("_there") or name.startswith("final_")), *MONTHS)
"""Asked more loosely here than where they are used, so that they may be missing there and not here."""


def present_by_hand(depot: Depot) -> dict[str, bool]:
    """Which grounds a depot has."""
    day = depot.as_of.date()
    found = {}
    for name, rows in ANY.items():
        values = {"day": day} if "$day" in rows else {}
        found[name] = depot.query(f"select count(*) as n from (select 1 from {rows} limit 1)", values)["n"].item() > 0
    twice = "select unit_id from jobs where disposition <> 'cancelled' group by unit_id having count(*) >= 2"
    found["repeat_units"] = depot.query(twice).height > 0
    for name, rows in MONTHS.items():
        found[name] = depot.query(f"select distinct month from ({rows}) where month <= $day", {"day": day}).height > 1
    return found
