-- What the tests caught, what escaped them, and what is not known of either, in index jobs.
-- A row is one group and whether its jobs have matured; a job counts once in each group that its tests name, and has there
-- what any of these tests has.
-- tested: index jobs with such a test; passed: those whose last runs of all tests, these or others, passed. escaped: passed,
-- and come back within $window days with the subsystem found at fault that the test covers; unverified: passed and come back
-- with nothing found or nothing written down; open: passed, not matured and not back. caught: the test's first run that was
-- not aborted failed, and afterwards a step that touches its subsystem was attempted, or any step if that subsystem was
-- confirmed at fault in the job; doubtful: it failed without such work.
-- Parameters: $window days, $as_of date: later runs and returns are left out; $disposition of the index jobs.
-- Not counted: tests that are not in the table of what tests cover; skipped steps; attempts without a time, which come after
-- nothing; what keep_links.sql leaves out.
with
-- one row a test of a job that was run again: its last run
again as (
    select job_id, test, max(run) as run
    from diagnostics
    where run > 1 and coalesce(run_on <= $as_of, true)
    group by job_id, test
),
-- one row a test of a job: its last run
last_runs as (
    select d.job_id, d.test, d.outcome
    from diagnostics as d
    left join again as a on a.job_id = d.job_id and a.test = d.test
    where coalesce(d.run_on <= $as_of, true) and (a.run is null or d.run = a.run)
),
-- one row a job in which some test did not pass in the end
unpassed as (
    select distinct job_id
    from last_runs
    where outcome <> 'pass'
),
-- one row a test of a job with a failed run: how its first run that was not aborted ended
judged_first as (
    select d.job_id, d.test, min_by(d.outcome, d.run) as outcome, min_by(d.run_at, d.run) as run_at
    from diagnostics as d
    join (select distinct job_id, test from diagnostics where outcome = 'fail') as f
        on f.job_id = d.job_id and f.test = d.test
    where d.outcome in ('pass', 'fail') and coalesce(d.run_on <= $as_of, true)
    group by d.job_id, d.test
),
-- one row a step of a procedure and a subsystem it touches
touches as (
    select distinct procedure, step, unnest(subsystems) as subsystem
    from procedures
),
-- one row a test of a job that failed at first: whether the work after it was on what the test covers
failed_first as (
    select
        f.job_id, f.test,
        coalesce(bool_or(p.subsystem is not null or (s.job_id is not null and j.found = t.subsystem)), false) as caught
    from judged_first as f
    join jobs as j on j.job_id = f.job_id
    join tests as t on t.test = f.test
    left join steps as s
        on s.job_id = f.job_id and s.outcome <> 'skipped' and coalesce(s.ended_at, s.started_at) > f.run_at
        and coalesce(s.done_on <= $as_of, true)
    left join touches as p on p.procedure = j.procedure and p.step = s.step and p.subsystem = t.subsystem
    where f.outcome = 'fail'
    group by f.job_id, f.test
),
-- one row an index job: how it came back within the window, if that was seen, and whether all its tests passed
index_jobs as (
    select
        row_number() over () as place,
        l.job_id, l.site, l.model, l.procedure, l.technician, l.billing, l.closed_on, l.closed_month,
        date_diff('day', l.closed_on, $as_of) >= $window as matured,
        u.job_id is null as passed,
        b.job_id is null as not_back,
        case when l.class in ('repeat', 'workmanship', 'new_fault') then b.found end as found,
        coalesce(l.class in ('no_fault_found', 'unknown') and b.job_id is not null, false) as unverified
    from links as l
    left join jobs as b
        on b.job_id = l.return_job_id and l.elapsed_days <= least($window, date_diff('day', l.closed_on, $as_of))
    left join unpassed as u on u.job_id = l.job_id
    where l.disposition = $disposition and l.closed_on <= $as_of
),
-- one row an index job and group
once as (
    select
        l.place,
        /* groups: */ d.test as test, /* :groups */
        l.matured, l.passed, l.not_back, l.unverified,
        bool_or(coalesce(l.found = t.subsystem, false)) as came_back,
        bool_or(coalesce(f.caught, false)) as caught,
        bool_or(coalesce(not f.caught, false)) as doubtful
    from last_runs as d
    join index_jobs as l on l.job_id = d.job_id
    join tests as t on t.test = d.test
    left join failed_first as f on f.job_id = d.job_id and f.test = d.test
    where /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ test, /* :names */
    matured,
    cast(count(*) as bigint) as tested,
    cast(count(*) filter (where passed) as bigint) as passed,
    cast(count(*) filter (where passed and came_back) as bigint) as escaped,
    cast(count(*) filter (where passed and unverified) as bigint) as unverified,
    cast(count(*) filter (where passed and not_back and not matured) as bigint) as open,
    cast(count(*) filter (where caught) as bigint) as caught,
    cast(count(*) filter (where doubtful and not caught) as bigint) as doubtful
from once
group by all
order by all
