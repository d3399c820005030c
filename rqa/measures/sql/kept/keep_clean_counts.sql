-- Jobs that went through clean.
-- A row is one combination; jobs counts jobs with at least one checked first attempt at a step (passed or failed) or one
-- first diagnostic run; clean those where all of these passed. month is that of closing, else of opening.
-- Not counted: jobs with neither. Logs whose job is not in the store count under 'unknown', without a month.
select
    cast(date_trunc('month', coalesce(j.closed_on, j.opened_on)) as date) as month,
    coalesce(j.site, 'unknown') as site,
    coalesce(j.model, 'unknown') as model,
    coalesce(j.procedure, 'unknown') as procedure,
    coalesce(j.technician, 'unknown') as technician,
    coalesce(j.billing, 'unknown') as billing,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where c.clean) as bigint) as clean
from clean_checks as c left join jobs as j on j.job_id = c.job_id
group by all
order by month, site, model, procedure, technician, billing
