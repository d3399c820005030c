-- First attempts at steps that failed, on the jobs they belong to.
-- A row is one group. jobs: with at least one checked first attempt (passed or failed); failed: their first attempts that
-- failed, of which a job can have several.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs without a checked step, later attempts. A month of null: logs without a job in the store.
-- Grouped by: month, week of day c.day; job of c or 'unknown'.
with
-- one row a job with a checked first attempt, and one for all those that the store does not have
checked as (
    select site, model, procedure, technician, billing, coalesce(closed_on, opened_on) as day, 1 as jobs, failed_checks
    from job_logs
    where checks > 0
    union all
    select
        null, null, null, null, null, null,
        sum(rows) filter (where what = 'checked jobs without a row'),
        sum(rows) filter (where what = 'failed checks without a job')
    from held_rows
    having sum(rows) filter (where what = 'checked jobs without a row') > 0
)
select
    /* groups: */ coalesce(c.model, 'unknown') as model, /* :groups */
    cast(coalesce(sum(c.jobs), 0) as bigint) as jobs,
    cast(coalesce(sum(c.failed_checks), 0) as bigint) as failed
from checked as c
where coalesce(c.day <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
