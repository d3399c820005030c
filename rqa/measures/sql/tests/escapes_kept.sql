-- What the tests caught, what escaped them, and what is not known of either, from what is kept of each job.
-- A row is one group and whether its jobs have matured, as in escapes.sql.
-- Parameters: $window days, $as_of date: later returns are left out, and no run may be; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
with
-- one row a kind of index job with first runs: those alike in tests and in what came of them
kinds as (
    select
        /* groups of l: */ coalesce(l.model, 'unknown') as model, /* :groups of l */
        l.tests,
        date_diff('day', l.closed_on, $as_of) >= $window as matured,
        not (l.failed or l.aborted) as passed,
        coalesce(l.elapsed_days <= least($window, date_diff('day', l.closed_on, $as_of)), false) as back,
        case when l.elapsed_days <= least($window, date_diff('day', l.closed_on, $as_of)) then l.fault_found end as found,
        coalesce(
            l.elapsed_days <= least($window, date_diff('day', l.closed_on, $as_of))
            and l.class in ('no_fault_found', 'unknown'),
            false
        ) as unverified,
        count(*) as jobs
    from job_logs as l
    where l.linked and l.disposition = $disposition and l.closed_on <= $as_of and l.tests is not null
      and /* filters of l: */ true /* :filters of l */
    group by all
),
-- one row such a kind and group that its tests name: a job counts once in each
once as (
    select
        d.place, /* names of l: */ model, /* :names of l */ /* groups of d or t: */ d.test as test, /* :groups of d or t */
        d.matured, d.passed, d.back, d.unverified, d.jobs, coalesce(bool_or(t.subsystem = d.found), false) as came_back
    from (
        select *, unnest(string_split(tests, chr(31))) as test
        from (select *, row_number() over () as place from kinds) as numbered
    ) as d
    join tests as t on t.test = d.test
    where /* filters of d or t: */ true /* :filters of d or t */
    group by all
),
-- one row a group and kind of count
summed as (
    select
        /* names: */ model, test, /* :names */
        matured,
        sum(jobs) as tested,
        coalesce(sum(jobs) filter (where passed), 0) as passed,
        coalesce(sum(jobs) filter (where passed and came_back), 0) as escaped,
        coalesce(sum(jobs) filter (where passed and unverified), 0) as unverified,
        coalesce(sum(jobs) filter (where passed and not back and not matured), 0) as open,
        0 as caught,
        0 as doubtful
    from once
    group by all
    union all
    select
        /* groups: */ coalesce(l.model, 'unknown') as model, d.test as test, /* :groups */
        date_diff('day', l.closed_on, $as_of) >= $window,
        0, 0, 0, 0, 0,
        count(/* unless test: */ distinct l.job_id /* :unless test */) filter (where l.caught),
        count(/* unless test: */ distinct l.job_id /* :unless test */)
        - count(/* unless test: */ distinct l.job_id /* :unless test */) filter (where l.caught)
    from unclean_tests as l
    join tests as d on d.test = l.test
    join tests as t on t.test = l.test
    where l.failed and l.linked and l.disposition = $disposition and l.closed_on <= $as_of
      and /* filters: */ true /* :filters */
    group by all
)
-- The rest: that of escapes.sql from its select on.
