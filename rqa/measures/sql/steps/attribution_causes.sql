-- The causes a come-back may be laid to: steps that a procedure declares, by the bench or tool they were done at.
-- A row is one step and variant: '' without $covariate, else a bench or tool it was logged at ('unknown' where none is
-- named).
-- Parameters: $covariate ('', 'bench', 'tool').
-- Not counted: steps that no procedure declares; declared steps that were never logged, where there is a covariate.
-- Merged: distinct rows.
select step, '' as variant
from procedures
where $covariate = ''
group by step
union all
select p.step, case $covariate when 'bench' then coalesce(t.bench, 'unknown') else coalesce(p.tool, 'unknown') end as variant
from (
    select distinct record, case when $covariate = 'bench' then bench end as bench
    from job_turns
    where record is not null
) as t
join record_steps as p on p.record = t.record
where $covariate <> '' and p.step in (select step from procedures)
group by all order by all
