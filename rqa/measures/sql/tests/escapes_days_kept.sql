-- How long after release the faults came back that had escaped the tests, from what is kept of each job.
-- A row is one group and day since closing, as in escapes_days.sql.
-- Parameters: $window days, $as_of date: no later run may be in the store; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
with
-- one row a kind of come-back with a fault and first runs, all of which had passed in the end
kinds as (
    select
        /* groups of l: */ coalesce(l.model, 'unknown') as model, /* :groups of l */
        l.tests, l.fault_found as found, l.elapsed_days as day, count(*) as jobs
    from job_logs as l
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and l.elapsed_days <= $window and l.fault_found is not null and l.tests is not null and not (l.failed or l.aborted)
      and /* filters of l: */ true /* :filters of l */
    group by all
),
-- the same, numbered
numbered as (
    select *, row_number() over () as place from kinds
),
-- one row such a kind and test
tested as (
    select *, unnest(string_split(tests, chr(31))) as test from numbered
),
-- one row such a kind and group that a test names which covers what was found
once as (
    select distinct
        d.place, /* names of l: */ model, /* :names of l */ /* groups of d or t: */ d.test as test, /* :groups of d or t */
        d.day, d.jobs
    from tested as d
    join tests as t on t.test = d.test and t.subsystem = d.found
    where /* filters of d or t: */ true /* :filters of d or t */
)
select
    /* names: */ model, test, /* :names */
    cast(day as bigint) as day,
    cast(sum(jobs) as bigint) as escaped
from once
group by all
order by all
