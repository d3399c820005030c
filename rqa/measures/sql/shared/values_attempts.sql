-- The values that a filter may name, out of the step log.
-- A row is one value. Parameters: none.
-- Grouped by: technician, bench, tool, fault of s or 'unknown'.
select distinct
    /* groups: */ coalesce(s.bench, 'unknown') as bench /* :groups */
from steps as s
order by all
