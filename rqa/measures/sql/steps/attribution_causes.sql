-- The causes a come-back may be laid to: steps that a procedure declares, by the bench or tool they were done at.
-- A row is one step and variant: '' without $covariate, else a bench or tool it was logged at ('unknown' where none is
-- named).
-- Parameters: $covariate ('', 'bench', 'tool').
-- Not counted: steps that no procedure declares; declared steps that were never logged, where there is a covariate.
select step, '' as variant
from procedures
where $covariate = ''
group by step
union all
select
    s.step,
    case $covariate when 'bench' then coalesce(s.bench, 'unknown') else coalesce(s.tool, 'unknown') end as variant
from steps as s
where $covariate <> '' and s.step in (select step from procedures)
group by all
order by all
