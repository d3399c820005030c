-- First runs of diagnostics by outcome, from the rows.
-- A row is one group and outcome; attempts counts the first runs.
-- Parameters: $as_of date: later runs are left out. Not counted: later runs of the same test in a job.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.outcome, cast(count(*) as bigint) as attempts
from runs_of_jobs($as_of) as d
where d.run = 1 and /* filters: */ true /* :filters */
group by all order by all
