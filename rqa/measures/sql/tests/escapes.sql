-- What the tests caught, what escaped them, and what is not known of either, in index jobs.
-- A row is one group and whether its jobs have matured; a job counts once in each group that its tests name, and has there
-- what any of these tests has. A test covers one subsystem.
-- tested: index jobs with such a test; passed: those whose last runs of all tests, these or others, passed. escaped: passed,
-- and come back within $window days with the subsystem found at fault that the test covers; unverified: passed and come back
-- with nothing found or nothing written down; open: passed, not matured and not back. caught: the test's first run that was
-- not aborted failed, and afterwards a step that touches its subsystem was attempted, or any step if that subsystem was
-- confirmed at fault in the job; doubtful: it failed without such work.
-- Parameters: $window days, $as_of date: later runs and returns are left out; $disposition of the index jobs.
-- Not counted: tests that are not in the table of what tests cover; tests of a job whose first run is not in the store, as tested
-- and as escaped from; skipped steps; attempts without a time, which come after nothing; what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
with
-- one row a job in which some test did not pass in the end
unpassed as (
    select distinct job_id from unpassed_tests($as_of)
),
-- one row a test of a job that failed at first: whether the work after it was on what the test covers
failed_first as (
    select
        f.job_id, f.test,
        coalesce(bool_or(p.subsystem is not null or (s.job_id is not null and j.found = t.subsystem)), false) as caught
    from failed_first_runs($as_of) as f
    join jobs as j on j.job_id = f.job_id
    join tests as t on t.test = f.test
    left join steps as s
        on s.job_id = f.job_id and s.outcome <> 'skipped' and coalesce(s.ended_at, s.started_at) > f.run_at
        and coalesce(s.done_on <= $as_of, true)
    left join step_subsystems as p on p.procedure = j.procedure and p.step = s.step and p.subsystem = t.subsystem
    group by f.job_id, f.test
),
-- one row an index job: how it came back within the window, if that was seen, and whether all its tests passed
closed as (
    select
        row_number() over () as place,
        l.job_id, l.site, l.model, l.procedure, l.technician, l.billing, l.closed_on, l.closed_month, l.matured,
        u.job_id is null as passed,
        b.job_id is null as not_back,
        case when l.class in ('repeat', 'workmanship', 'new_fault') then b.found end as found,
        coalesce(l.class in ('no_fault_found', 'unknown') and b.job_id is not null, false) as unverified
    from index_jobs($as_of, $window, $disposition) as l
    left join jobs as b
        on b.job_id = l.return_job_id and l.elapsed_days <= least($window, date_diff('day', l.closed_on, $as_of))
    left join unpassed as u on u.job_id = l.job_id
),
-- one row an index job and group of its tests; where tests are groups, first runs are one already
jobs_once as (
    select /* unless test: */ distinct /* :unless test */
        l.place,
        /* groups: */ d.test as test, /* :groups */
        l.matured, l.passed, l.not_back, l.unverified
    from first_runs($as_of) as d
    join closed as l on l.job_id = d.job_id
    join tests as t on t.test = d.test
    where /* filters: */ true /* :filters */
),
-- one row a test of an index job that let through what came back, or that failed
marks as (
    select d.job_id, d.test, true as came_back, false as caught, false as doubtful
    from first_runs($as_of) as d
    join closed as l on l.job_id = d.job_id
    join tests as t on t.test = d.test and t.subsystem = l.found
    union all
    select job_id, test, false, caught, not caught
    from failed_first
),
-- one row an index job and group with all its marks
marked_once as (
    select
        l.place,
        /* groups: */ d.test as test, /* :groups */
        l.matured, l.passed,
        bool_or(d.came_back) as came_back, bool_or(d.caught) as caught, bool_or(d.doubtful) as doubtful
    from marks as d
    join closed as l on l.job_id = d.job_id
    join tests as t on t.test = d.test
    where /* filters: */ true /* :filters */
    group by all
),
-- one row a group and kind of count
summed as (
    select
        /* names: */ test, /* :names */
        matured,
        count(*) as tested,
        count(*) filter (where passed) as passed,
        0 as escaped,
        count(*) filter (where passed and unverified) as unverified,
        count(*) filter (where passed and not_back and not matured) as open,
        0 as caught,
        0 as doubtful
    from jobs_once
    group by all
    union all
    select
        /* names: */ test, /* :names */
        matured, 0, 0,
        count(*) filter (where passed and came_back),
        0, 0,
        count(*) filter (where caught),
        count(*) filter (where doubtful and not caught)
    from marked_once
    group by all
)
select
    /* names: */ test, /* :names */
    matured,
    cast(sum(tested) as bigint) as tested,
    cast(sum(passed) as bigint) as passed,
    cast(sum(escaped) as bigint) as escaped,
    cast(sum(unverified) as bigint) as unverified,
    cast(sum(open) as bigint) as open,
    cast(sum(caught) as bigint) as caught,
    cast(sum(doubtful) as bigint) as doubtful
from summed
group by all order by all
