-- Jobs that went through clean.
-- A row is one combination; jobs counts jobs with at least one checked first attempt at a step (passed or failed) or one
-- first diagnostic run; clean those where all of these passed. month is that of closing, else of opening.
-- Not counted: jobs with neither. Logs whose job is not in the store count under 'unknown', without a month.
with
-- one row a job with checked steps
step_checks as (
    select job_id, max(case when outcome = 'fail' then 1 else 0 end) as fault
    from steps
    where attempt = 1 and outcome in ('pass', 'fail')
    group by job_id
),
-- one row a job with diagnostics; an aborted first run did not pass
test_checks as (
    select job_id, max(case when outcome <> 'pass' then 1 else 0 end) as fault
    from diagnostics
    where run = 1
    group by job_id
),
-- one row a job with either
checked as (
    select
        coalesce(s.job_id, t.job_id) as job_id,
        coalesce(s.fault, 0) + coalesce(t.fault, 0) as faults
    from step_checks as s
    full join test_checks as t on t.job_id = s.job_id
)
select
    cast(date_trunc('month', coalesce(j.closed_on, j.opened_on)) as date) as month,
    coalesce(j.site, 'unknown') as site,
    coalesce(j.model, 'unknown') as model,
    coalesce(j.procedure, 'unknown') as procedure,
    coalesce(j.technician, 'unknown') as technician,
    coalesce(j.billing, 'unknown') as billing,
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where c.faults = 0) as bigint) as clean
from checked as c
left join jobs as j on j.job_id = c.job_id
group by all
order by month, site, model, procedure, technician, billing
