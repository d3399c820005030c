-- Of how many closed jobs it can be seen whether the battery's order was kept.
-- A row is one group. closed: jobs closed, in whatever way; logged: those of them with a step log; judged: those of these whose
-- procedure says when the battery is isolated.
-- Parameters: $as_of date: jobs closed later are left out.
-- Not counted: open jobs.
-- Grouped by: month, week of day j.closed_on; site, model, procedure, billing of j or 'unknown'.
with
-- one row a procedure that says when the battery is isolated
isolating as (
    select procedure from procedure_plan where isolates group by procedure
),
-- one row a job with a step log
logged as (
    select job_id from steps group by job_id
)
select
    /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
    cast(count(*) as bigint) as closed,
    cast(count(l.job_id) as bigint) as logged,
    cast(count(*) filter (where l.job_id is not null and i.procedure is not null) as bigint) as judged
from jobs as j
left join logged as l on l.job_id = j.job_id
left join isolating as i on i.procedure = j.procedure
where j.disposition <> 'open' and j.closed_on <= $as_of and /* filters: */ true /* :filters */
group by all
order by all
