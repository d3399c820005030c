-- First runs of diagnostics one by one.
-- A row is one first run; exposure: it passed or failed; unchecked: it was aborted; measured: it was not, and has a value.
-- Parameters: $as_of date: later runs are left out. Not counted: later runs of the same test in a job.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
select
    /* groups: */ d.model as model, /* :groups */
    d.job_id, d.test as of_test, d.outcome, d.run_on as day, d.station as at_station, d.value, d.unit, d.lower_limit,
    d.upper_limit,
    d.outcome in ('pass', 'fail') as exposure, d.outcome = 'pass' as passed, d.outcome = 'fail' as failed,
    d.outcome not in ('pass', 'fail') as unchecked,
    d.outcome <> 'aborted' and d.value is not null as measured
from runs_of_jobs($as_of) as d
where d.run = 1 and /* filters: */ true /* :filters */
order by all
