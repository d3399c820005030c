-- How long after release the faults came back that had escaped the tests.
-- A row is one group and day since closing; escaped: matured index jobs that came back that day with the subsystem found at
-- fault that a test run on them covers, and whose last runs of all tests had passed. A job counts once in each group that its
-- tests name.
-- Parameters: $window days, $as_of date: later runs are left out; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
select
    /* groups: */ d.test as test, /* :groups */
    l.elapsed_days as day,
    cast(count(distinct l.job_id) as bigint) as escaped
from comeback_jobs($as_of, $window, $disposition) as l
join first_runs($as_of) as d on d.job_id = l.job_id
join tests as t on t.test = d.test and t.subsystem = l.fault_found
where l.job_id not in (select job_id from unpassed_tests($as_of)) and /* filters: */ true /* :filters */
group by all order by all
