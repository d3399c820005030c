-- First checks of jobs whose checks are of several months or technicians, or which the store does not have.
-- A row is one log ('steps' or 'diagnostics'), job, month and technician, as in first_checks, with the columns of the job (null where
-- the store has no such job); checks: first attempts or runs that passed or failed, failed: those that failed.
-- Not counted: later attempts and runs, steps without a check, aborted runs. Reads job_logs, lost_jobs.
with
-- one row such a job, and whether that is so of its attempts and of its runs
mixed as (
    select
        job_id, site, model, procedure, technician, billing, coalesce(closed_on, opened_on) as day, checks_mixed, tests_mixed
    from job_logs
    where checks_mixed or tests_mixed
    union all
    select job_id, null, null, null, null, null, null, true, true from lost_jobs
)
select
    'steps' as log, s.job_id, l.site, l.model, l.procedure, coalesce(s.technician, l.technician) as technician, l.billing,
    cast(date_trunc('month', coalesce(s.done_on, l.day)) as date) as month,
    cast(count(*) as integer) as checks, cast(count(*) filter (where s.outcome = 'fail') as integer) as failed
from steps as s
join mixed as l on l.job_id = s.job_id
where s.attempt = 1 and s.outcome in ('pass', 'fail') and l.checks_mixed
group by all
union all
select
    'diagnostics', d.job_id, l.site, l.model, l.procedure, l.technician, l.billing,
    cast(date_trunc('month', d.run_on) as date),
    cast(count(*) as integer), cast(count(*) filter (where d.outcome = 'fail') as integer)
from diagnostics as d
join mixed as l on l.job_id = d.job_id
where d.run = 1 and d.outcome <> 'aborted' and l.tests_mixed
group by all
