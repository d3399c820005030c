-- First checks up to a day: first attempts at steps, or first runs of diagnostics, with what their jobs say.
-- A row is one first attempt or run that passed or failed, and whether it failed. An attempt is told as in attempts_of_jobs,
-- with test and station null; a run by its day, its job's site, model, procedure, technician and billing, test and station.
-- Parameters: as_of date, what is dated later is left out; of_log: 'steps' or 'diagnostics'.
-- Not counted: later attempts and runs; steps without a check; aborted runs.
create or replace macro first_checks(as_of, of_log) as table
select
    job_id, site, model, procedure, technician, billing, day,
    step, bench, tool, null as test, null as station, outcome = 'fail' as failed
from attempts_of_jobs
where of_log = 'steps' and attempt = 1 and outcome in ('pass', 'fail') and coalesce(day <= as_of, true)
union all
select
    job_id, site, model, procedure, technician, billing, run_on,
    null, null, null, test, station, outcome = 'fail'
from runs_of_jobs(as_of)
where of_log = 'diagnostics' and run = 1 and outcome in ('pass', 'fail')
