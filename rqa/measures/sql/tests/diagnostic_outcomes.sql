-- How the tests of jobs ended: at the first run, at the last, and after how many runs.
-- A row is one group. tests: tests of jobs (each once a job); first_judged: those whose first run passed or failed;
-- first_passed: those whose first run passed; final_passed: those whose last run passed; runs: all runs; aborted: the aborted
-- ones among them.
-- A test of a job belongs to the station and the day of its first run.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: tests of a job whose first run is not in the store. Runs whose job is not in the store count under 'unknown'.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
with
-- one row a test of a job that was run again: how many further runs, and how the last ended
later as (
    select
        job_id, test,
        max_by(outcome, run) as outcome,
        count(*) as runs,
        count(*) filter (where outcome = 'aborted') as aborted
    from runs_until($as_of)
    where run > 1
    group by job_id, test
),
-- one row a group and way it went
ways as (
    select
        /* groups: */ d.test as test, /* :groups */
        d.outcome as first_outcome,
        coalesce(l.outcome, d.outcome) as last_outcome,
        count(*) as tests,
        sum(coalesce(l.runs, 0)) as further,
        sum(coalesce(l.aborted, 0)) as aborted
    from runs_of_jobs($as_of) as d
    left join later as l on l.job_id = d.job_id and l.test = d.test
    where d.run = 1 and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ test, /* :names */
    cast(coalesce(sum(tests), 0) as bigint) as tests,
    cast(coalesce(sum(tests) filter (where first_outcome in ('pass', 'fail')), 0) as bigint) as first_judged,
    cast(coalesce(sum(tests) filter (where first_outcome = 'pass'), 0) as bigint) as first_passed,
    cast(coalesce(sum(tests) filter (where last_outcome = 'pass'), 0) as bigint) as final_passed,
    cast(coalesce(sum(tests + further), 0) as bigint) as runs,
    cast(
        coalesce(sum(aborted), 0) + coalesce(sum(tests) filter (where first_outcome = 'aborted'), 0) as bigint
    ) as aborted
from ways
group by all order by all
