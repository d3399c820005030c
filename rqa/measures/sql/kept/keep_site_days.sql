-- What each site writes down of its repairs, by the day they were closed: what was found on return, what was worked on.
-- A row is one site and closing day. jobs: repaired index jobs; logged: those with a step log; touched: those of them with a
-- procedure whose steps say what they touch; tested: those with diagnostics; returned: those that came back, but for returns
-- on which no fault was found; found: those of them whose return has a subsystem found at fault.
-- Not counted: what keep_links.sql leaves out. Reads job_logs, and the procedures as they are declared now.
with
-- one row a procedure that says what its steps touch
described as (
    select distinct procedure from procedures where len(subsystems) > 0
)
select
    l.site, l.closed_on,
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where l.logged) as bigint) as logged,
    cast(count(*) filter (where l.logged and d.procedure is not null) as bigint) as touched,
    cast(count(*) filter (where l.tests is not null or l.later_tests is not null) as bigint) as tested,
    cast(count(*) filter (where l.class <> 'no_fault_found') as bigint) as returned,
    cast(count(*) filter (where l.class in ('repeat', 'workmanship', 'new_fault')) as bigint) as found
from job_logs as l
left join described as d on d.procedure = l.procedure
where l.linked and l.disposition = 'repaired'
group by l.site, l.closed_on
order by l.site, l.closed_on
