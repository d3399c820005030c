-- What each site writes down of its repairs: what was found when a unit came back, and what a job had worked on.
-- A row is one site. jobs: repaired jobs; logged: those with a step log; touched: those of them with a procedure whose steps
-- say what they touch; tested: those with diagnostics; returned: those that came back, but for returns on which no fault was
-- found; found: those of them whose return has a subsystem found at fault.
-- Parameters: $as_of date, jobs closed later are left out.
-- Not counted: what keep_links.sql leaves out.
with
-- one row a procedure that says what its steps touch
described as (
    select distinct procedure from procedures where len(subsystems) > 0
),
-- one row a job with a step log
with_log as (
    select distinct job_id from steps
),
-- one row a job with diagnostics
with_tests as (
    select distinct job_id from diagnostics
)
select
    l.site,
    cast(count(*) as bigint) as jobs,
    cast(count(w.job_id) as bigint) as logged,
    cast(count(w.job_id) filter (where d.procedure is not null) as bigint) as touched,
    cast(count(t.job_id) as bigint) as tested,
    cast(count(*) filter (where l.class <> 'no_fault_found') as bigint) as returned,
    cast(count(*) filter (where l.class in ('repeat', 'workmanship', 'new_fault')) as bigint) as found
from links as l
left join described as d on d.procedure = l.procedure
left join with_log as w on w.job_id = l.job_id
left join with_tests as t on t.job_id = l.job_id
where l.disposition = 'repaired' and l.closed_on <= $as_of
group by l.site
order by l.site
