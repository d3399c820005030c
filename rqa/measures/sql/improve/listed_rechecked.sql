-- Repairs closed on days of which some were drawn and opened again, one by one.
-- A row is one job. drawn: it was drawn; looked_at: what was found in it is told; faulty: a fault was found.
-- Parameters: $as_of date, $disposition of the jobs.
-- Not counted: as in rechecked_jobs.sql.
-- Grouped by: month as l.closed_month; job of l or 'unknown'.
-- Merged: whole.
-- The steps: those of rechecked_jobs.sql.
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id, l.chance is not null as drawn, l.outcome is not null as looked_at, l.outcome is not distinct from 'fault' as faulty
from repaired as l
semi join drawn as d on d.closed_on = l.closed_on
where /* filters: */ true /* :filters */
order by all
