-- Tests that failed at first: their first run that was not aborted failed.
-- A row is one test of a job, with that run: job_id, test, run, run_at, run_on, station.
-- Parameters: as_of date, later runs are left out. Not counted: tests whose runs were all aborted.
create or replace macro failed_first_runs(as_of) as table
with
-- one row a test of a job whose failed run is not its first: the earliest of these
later_fails as (
    select job_id, test, min(run) as run
    from runs_until(as_of)
    where outcome = 'fail' and run > 1
    group by job_id, test
)
select job_id, test, run, run_at, run_on, station
from first_runs(as_of)
where outcome = 'fail'
union all
select d.job_id, d.test, d.run, d.run_at, d.run_on, d.station
from later_fails as a
join runs_until(as_of) as d on d.job_id = a.job_id and d.test = a.test and d.run = a.run
where not exists (
    select 1 from runs_until(as_of) as b
    where b.job_id = a.job_id and b.test = a.test and b.run < a.run and b.outcome in ('pass', 'fail')
)
