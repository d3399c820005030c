-- How long after release the faults came back that had escaped the tests.
-- A row is one group and day since closing; escaped: matured index jobs that came back that day with the subsystem found at
-- fault that a test run on them covers, and whose last runs of all tests had passed. A job counts once in each group that its
-- tests name.
-- Parameters: $window days, $as_of date: later runs are left out; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
with
-- one row a come-back whose fault is known
back as (
    select job_id, elapsed_days, fault_found as found
    from comeback_jobs($as_of, $window, $disposition)
    where class in ('repeat', 'workmanship', 'new_fault')
),
-- one row a test of its index job: how the last run ended
last_runs as (
    select d.job_id, d.test, max_by(d.outcome, d.run) as outcome
    from runs_until($as_of) as d
    join back as x on x.job_id = d.job_id
    group by d.job_id, d.test
),
-- one row an index job and group
once as (
    select distinct
        d.job_id,
        x.elapsed_days,
        /* groups: */ d.test as test, /* :groups */
    from first_runs($as_of) as d
    join back as x on x.job_id = d.job_id
    join links as l on l.job_id = d.job_id
    join tests as t on t.test = d.test and t.subsystem = x.found
    where d.job_id not in (select job_id from last_runs where outcome <> 'pass') and /* filters: */ true /* :filters */
)
select
    /* names: */ test, /* :names */
    elapsed_days as day,
    cast(count(*) as bigint) as escaped
from once
group by all
order by all
