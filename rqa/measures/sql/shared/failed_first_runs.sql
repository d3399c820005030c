-- Tests that failed at first: their first run that was not aborted failed.
-- A row is one test of a job, with that run: job_id, test, run, run_at, run_on, station.
-- Parameters: as_of date, later runs are left out. Not counted: tests whose runs were all aborted.
create or replace macro failed_first_runs(as_of) as table
with
-- one row a test of a job that failed: the first time it did
first_fails as (
    select job_id, test, min(run) as run
    from runs_until(as_of)
    where outcome = 'fail'
    group by job_id, test
)
select
    d.job_id, d.test, any_value(d.run) as run, any_value(d.run_at) as run_at, any_value(d.run_on) as run_on,
    any_value(d.station) as station
from first_fails as f
join runs_until(as_of) as d on d.job_id = f.job_id and d.test = f.test and d.run <= f.run
where d.outcome <> 'aborted'
group by d.job_id, d.test
having count(*) = 1
