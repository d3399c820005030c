-- First attempts at steps, by outcome.
-- A row is one combination; month is that of the step's day, else of its job's closing, else of its opening (null when
-- there is none); technician is the step's, else the job's. exposures = passed + failed; done means that no check was made.
-- Not counted: later attempts. Steps whose job is not in the store count under 'unknown'.
with
-- one row a month, kind, technician and step
cells as (
    select
        cast(date_trunc('month', coalesce(s.done_on, j.day)) as date) as month,
        coalesce(j.kind, 0) as kind,
        coalesce(s.technician, j.technician, 'unknown') as technician,
        s.step,
        cast(count(*) filter (where s.outcome in ('pass', 'fail')) as bigint) as exposures,
        cast(count(*) filter (where s.outcome = 'pass') as bigint) as passed,
        cast(count(*) filter (where s.outcome = 'fail') as bigint) as failed,
        cast(count(*) filter (where s.outcome = 'done') as bigint) as done,
        cast(count(*) filter (where s.outcome = 'skipped') as bigint) as skipped
    from steps as s
    left join job_kinds as j on j.job_id = s.job_id
    where s.attempt = 1
    group by all
)
select
    c.month, k.site, k.model, k.procedure, k.billing, c.technician, c.step,
    c.exposures, c.passed, c.failed, c.done, c.skipped
from cells as c
join kinds_of_work as k on k.kind = c.kind
order by c.month, c.kind, c.technician, c.step
