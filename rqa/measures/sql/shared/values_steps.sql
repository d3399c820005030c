-- The values that a filter may name, out of step_counts.
-- A row is one value. Parameters: none.
-- Grouped by: step, technician of c.
select distinct
    /* groups: */ c.step as step /* :groups */
from step_counts as c
order by all
