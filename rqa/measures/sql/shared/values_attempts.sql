-- The values that a filter may name, out of the step log.
-- A row is one value. Parameters: none.
select distinct
    /* groups: */ coalesce(s.bench, 'unknown') as bench /* :groups */
from steps as s
order by all
