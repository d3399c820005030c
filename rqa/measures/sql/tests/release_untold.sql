-- Released jobs of which a diagnostic run was refused at load: whether their tests were in order cannot be told.
-- A row is one group. Parameters: $as_of date, later closings are left out; $disposition of the released jobs.
-- Not counted: runs refused without a job's id.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    cast(count(*) as bigint) as jobs
from jobs as j
where
    j.disposition = $disposition and j.closed_on <= $as_of
    and j.job_id in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
    and (/* filters: */ true /* :filters */)
group by all order by all
