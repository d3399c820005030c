-- Values measured by diagnostics, as counts by value, with the limits they were held to; first runs and all runs.
-- A row is one group, unit, pair of limits and value (null: nothing was measured, or not written down); first counts the
-- first runs that have it, every all runs.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: aborted runs.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit as unit, cast(d.lower_limit as double) as lower_limit, cast(d.upper_limit as double) as upper_limit,
    cast(d.value as double) as value,
    cast(count(*) filter (where d.run = 1) as bigint) as first,
    cast(count(*) as bigint) as every
from runs_until($as_of) as d left join jobs as j on j.job_id = d.job_id
where d.outcome <> 'aborted' and /* filters: */ true /* :filters */
group by all
order by all
