-- First attempts at steps that failed, on the jobs they belong to.
-- A row is one group. jobs: with at least one checked first attempt (passed or failed); failed: their first attempts that
-- failed, of which a job can have several.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs without a checked step, later attempts. A month of null: logs without a job in the store.
-- Grouped by: month, week of day coalesce(j.closed_on, j.opened_on); job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    cast(count(*) as bigint) as jobs,
    cast(coalesce(sum(c.failed), 0) as bigint) as failed
from checked_steps as c
left join jobs as j on j.job_id = c.job_id
where coalesce(coalesce(j.closed_on, j.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
group by all
order by all
