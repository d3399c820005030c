-- The values that a filter may name, out of jobs.
-- A row is one value. Parameters: none.
-- Grouped by: job of j or 'unknown'.
select distinct
    /* groups: */ coalesce(j.site, 'unknown') as site /* :groups */
from jobs as j
order by all
