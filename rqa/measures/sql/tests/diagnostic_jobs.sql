-- Jobs that were tested.
-- A row is one group; jobs: those with a first run in it. A first run belongs to its station and day.
-- Parameters: $as_of date: later runs are left out. Not counted: jobs without a first run in the store.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
select
    /* groups: */ coalesce(d.model, 'unknown') as model, /* :groups */
    cast(count(distinct d.job_id) as bigint) as jobs
from runs_of_jobs($as_of) as d
where d.run = 1 and /* filters: */ true /* :filters */
group by all order by all
