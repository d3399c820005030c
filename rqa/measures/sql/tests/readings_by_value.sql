-- Values measured by diagnostics, as counts by value, with the limits they were held to; first runs and all runs.
-- A row is one group, unit, pair of limits and value (null: nothing was measured, or not written down); first counts the
-- first runs that have it, every all runs.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: aborted runs.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, d.value,
    cast(count(*) filter (where d.run = 1) as bigint) as first,
    cast(count(*) as bigint) as every
from runs_of_jobs($as_of) as d
where d.outcome <> 'aborted' and /* filters: */ true /* :filters */
group by all order by all
