-- How long after release the faults came back that had escaped the tests, from what is kept of each job.
-- A row is one group and day since closing, as in escapes_days.sql.
-- Parameters: $window days, $as_of date: no later run may be in the store; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'; test, subsystem of t.
with
-- one row a come-back that had passed all its tests in the end, and group that a test names which covers what was found
once as (
    select distinct
        /* groups: */ coalesce(l.model, 'unknown') as model, t.test as test, /* :groups */
        l.job_id, l.elapsed_days as day
    from job_logs as l
    join tests as t on t.subsystem = l.fault_found and list_contains(string_split(l.tests, chr(31)), t.test)
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and l.elapsed_days <= $window and not (l.failed or l.aborted) and /* filters: */ true /* :filters */
)
select
    /* names: */ model, test, /* :names */
    cast(day as bigint) as day,
    cast(count(*) as bigint) as escaped
from once
group by all order by all
