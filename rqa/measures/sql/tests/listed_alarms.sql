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
    d.proved = 'confirmed' as confirmed, d.proved = 'nothing_found' as nothing_found, d.proved = 'undecided' as undecided
from judged as d
join jobs as j on j.job_id = d.job_id
where /* filters: */ true /* :filters */
order by all
