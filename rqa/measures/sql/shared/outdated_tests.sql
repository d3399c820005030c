-- Tests of jobs that are older than the work: the last run came before the end of the last step attempt.
-- A row is one test of a job: job_id, test, run_at (of its last run).
-- Parameters: as_of date, later runs and attempts are left out. Not counted: jobs without a timed step attempt.
create or replace macro outdated_tests(as_of) as table
select e.job_id, e.test, e.run_at
from (
    select d.job_id, d.test, d.run, d.run_at
    from runs_until(as_of) as d
    join work_ended(as_of) as w on w.job_id = d.job_id and d.run_at < w.worked_until
) as e
left join (
    select job_id, test, run from runs_until(as_of) where run > 1
) as n on n.job_id = e.job_id and n.test = e.test and n.run > e.run
where n.job_id is null
