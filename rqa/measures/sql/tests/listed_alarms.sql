-- Failed first runs one by one, and what they turned out to be.
-- A row is one test of a closed job whose first run that was not aborted failed; confirmed, nothing_found and undecided are as in
-- diagnostic_alarms.sql.
-- Parameters: $as_of date: later runs and attempts are left out, and jobs closed later.
-- Not counted: jobs that are open or cancelled; skipped steps.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
-- The steps: those of diagnostic_alarms.sql.
select
    /* groups: */ j.model as model, /* :groups */
    d.job_id, d.test as of_test, cast(d.run as bigint) as run, d.run_on as day, d.station as at_station, d.last_outcome,
    coalesce(g.confirmed, false) as confirmed,
    not g.confirmed and not g.untimed and (d.last_outcome = 'pass' or j.disposition = 'no_fault_found') as nothing_found,
    not g.confirmed and (g.untimed or not (d.last_outcome = 'pass' or j.disposition = 'no_fault_found')) as undecided
from fails as d
join jobs as j on j.job_id = d.job_id
join logged as g on g.job_id = d.job_id and g.test = d.test
where /* filters: */ true /* :filters */
order by all
