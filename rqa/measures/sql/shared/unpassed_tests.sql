-- Tests of jobs that did not pass in the end: how their last run ended.
-- A row is one test of a job whose last run failed or was aborted: job_id, test, run, outcome, run_at.
-- Parameters: as_of date, later runs are left out. Not counted: tests whose last run passed.
create or replace macro unpassed_tests(as_of) as table
with
-- one row a test of a job that has a run which did not pass: the last of these
not_passed as (
    select job_id, test, max(run) as run, max_by(outcome, run) as outcome, max_by(run_at, run) as run_at
    from runs_until(as_of)
    where outcome <> 'pass'
    group by job_id, test
)
select n.job_id, n.test, n.run, n.outcome, n.run_at
from not_passed as n
left join (
    select job_id, test, run from runs_until(as_of) where run > 1 and outcome = 'pass'
) as p on p.job_id = n.job_id and p.test = n.test and p.run > n.run
where p.job_id is null
