-- Jobs that were tested.
-- A row is one group; jobs: those with a first run in it. A first run belongs to its station and day.
-- Parameters: $as_of date: later runs are left out. Not counted: jobs without a first run in the store.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    cast(count(distinct d.job_id) as bigint) as jobs
from first_runs($as_of) as d left join jobs as j on j.job_id = d.job_id
where /* filters: */ true /* :filters */
group by all
order by all
