-- First checks of jobs whose checks are of several months or technicians, or which the store does not have.
-- A row is one log ('steps' or 'diagnostics'), job, month and technician, as in first_checks, with the columns of the job (null where
-- the store has no such job); checks: first attempts or runs that passed or failed, failed: those that failed.
-- Not counted: later attempts and runs, steps without a check, aborted runs. Reads job_logs.
select
    'steps' as log, s.job_id, l.site, l.model, l.procedure, coalesce(s.technician, l.technician) as technician, l.billing,
    cast(date_trunc('month', coalesce(s.done_on, l.closed_on, l.opened_on)) as date) as month,
    cast(count(*) as integer) as checks, cast(count(*) filter (where s.outcome = 'fail') as integer) as failed
from steps as s
left join job_logs as l on l.job_id = s.job_id
where s.attempt = 1 and s.outcome in ('pass', 'fail') and coalesce(l.checks_mixed, true)
group by all
union all
select
    'diagnostics', d.job_id, l.site, l.model, l.procedure, l.technician, l.billing,
    cast(date_trunc('month', d.run_on) as date),
    cast(count(*) as integer), cast(count(*) filter (where d.outcome = 'fail') as integer)
from diagnostics as d
left join job_logs as l on l.job_id = d.job_id
where d.run = 1 and d.outcome <> 'aborted' and coalesce(l.tests_mixed, true)
group by all
