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
)
select
    /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
    cast(count(*) as bigint) as closed,
    cast(count(j.record) as bigint) as logged,
    cast(count(*) filter (where j.record is not null and i.procedure is not null) as bigint) as judged
from job_turns as j
left join isolating as i on i.procedure = j.procedure
where j.turn = 1 and j.disposition <> 'open' and j.closed_on <= $as_of and /* filters: */ true /* :filters */
group by all order by all
