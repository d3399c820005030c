-- Come-backs of index jobs by the tests that their diagnostics name, from what is kept of each job.
-- A row is one group and class of come-back (null: none seen), as in comebacks_by_test.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without diagnostics.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'; test of d.
with
-- one row a kind of index job with diagnostics
kinds as (
    select
        /* groups of l: */ coalesce(l.model, 'unknown') as model, /* :groups of l */
        l.class, l.tests, l.later_tests, count(*) as jobs,
        count(*) filter (where date_diff('day', l.closed_on, $as_of) >= $window) as matured,
        count(*) filter (
            where date_diff('day', l.closed_on, $as_of) >= $window and l.elapsed_days <= $window
        ) as returned
    from job_logs as l
    where l.linked and l.disposition = $disposition and l.closed_on <= $as_of
      and (l.tests is not null or l.later_tests is not null) and /* filters of l: */ true /* :filters of l */
    group by all
),
-- one row such a kind and group that its tests name: a job counts once in each
once as (
    select distinct
        d.place, /* names of l: */ model, /* :names of l */ /* groups of d: */ d.test as test, /* :groups of d */
        d.class, d.jobs, d.matured, d.returned
    from (
        select *, unnest(string_split(concat_ws(chr(31), tests, later_tests), chr(31))) as test
        from (select *, row_number() over () as place from kinds) as numbered
    ) as d
    where /* filters of d: */ true /* :filters of d */
)
select
    /* names: */ model, test, /* :names */
    class, cast(sum(jobs) as bigint) as jobs, cast(sum(matured) as bigint) as matured, cast(sum(returned) as bigint) as returned
from once
group by all order by all
