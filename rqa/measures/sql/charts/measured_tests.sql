-- Values measured at first runs of diagnostics, as counts by value, with the limits they were held to.
-- A row is one group, unit, pair of limits and value; readings counts the runs that have it.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: later runs of the same test in a job, aborted ones, runs without a value.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, d.value,
    cast(count(*) as bigint) as readings
from runs_of_jobs($as_of) as d
where d.run = 1 and d.outcome <> 'aborted' and d.value is not null and /* filters: */ true /* :filters */
group by all order by all
