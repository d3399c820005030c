-- Repairs closed on days of which some were drawn and opened again before they left, with what was found.
-- A row is one group, closing day, chance with which its jobs were drawn (null: not drawn) and what was found ('fault',
-- 'good'; null where not looked at); jobs counts them.
-- Parameters: $as_of date, $disposition of the jobs.
-- Not counted: jobs opened again of which no chance is given; what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; job of l or 'unknown'.
-- Merged: distinct rows in drawn, then drawn given back.
with
-- one row a job drawn
judged as (
    select s.unit as job_id, max(cast(s.value as double)) as chance, arg_max(lower(trim(s.outcome)), s.trial) as outcome
    from studies as s
    where lower(s.study) = 'recheck' and s.value > 0 and s.value <= 1
    group by s.unit
),
-- one row a repair, with what is told of it
repaired as (
    select l.*, j.chance, case when j.outcome in ('fault', 'good') then j.outcome end as outcome
    from links as l
    left join judged as j on j.job_id = l.job_id
    where l.disposition = $disposition and l.closed_on <= $as_of
),
-- one row a day of which jobs were drawn
drawn as (
    select distinct closed_on from repaired where chance is not null
)
select
    /* groups: */ l.model as model, /* :groups */
    l.closed_on, l.chance, l.outcome, cast(count(*) as bigint) as jobs
from repaired as l
semi join drawn as d on d.closed_on = l.closed_on
where /* filters: */ true /* :filters */
group by all order by all
