-- First attempts at steps, by outcome.
-- A row is one combination; month is that of the step's day, else of its job's closing, else of its opening (null when
-- there is none); technician is the step's, else the job's. exposures = passed + failed; done means that no check was made.
-- Not counted: later attempts. Steps whose job is not in the store count under 'unknown'.
select
    cast(date_trunc('month', coalesce(s.done_on, j.closed_on, j.opened_on)) as date) as month,
    coalesce(j.site, 'unknown') as site,
    coalesce(j.model, 'unknown') as model,
    coalesce(j.procedure, 'unknown') as procedure,
    coalesce(j.billing, 'unknown') as billing,
    coalesce(s.technician, j.technician, 'unknown') as technician,
    s.step as step,
    cast(count(*) filter (where s.outcome in ('pass', 'fail')) as bigint) as exposures,
    cast(count(*) filter (where s.outcome = 'pass') as bigint) as passed,
    cast(count(*) filter (where s.outcome = 'fail') as bigint) as failed,
    cast(count(*) filter (where s.outcome = 'done') as bigint) as done,
    cast(count(*) filter (where s.outcome = 'skipped') as bigint) as skipped
from steps as s
left join jobs as j on j.job_id = s.job_id
where s.attempt = 1
group by all
order by month, site, model, procedure, billing, technician, step
