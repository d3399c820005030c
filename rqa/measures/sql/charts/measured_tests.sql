-- Values measured at first runs of diagnostics, as counts by value, with the limits they were held to.
-- A row is one group, unit, pair of limits and value; readings counts the runs that have it.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: later runs of the same test in a job, aborted ones, runs without a value.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit as unit, cast(d.lower_limit as double) as lower_limit, cast(d.upper_limit as double) as upper_limit,
    cast(d.value as double) as value,
    cast(count(*) as bigint) as readings
from first_runs($as_of) as d left join jobs as j on j.job_id = d.job_id
where d.outcome <> 'aborted' and d.value is not null and /* filters: */ true /* :filters */
group by all
order by all
