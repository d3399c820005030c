-- The values that a filter may name, out of the parts lists.
-- A row is one value. Parameters: none.
-- Grouped by: part_no of f; lot of f or 'unknown'.
select distinct
    /* groups: */ f.part_no as part_no /* :groups */
from parts as f
order by all
