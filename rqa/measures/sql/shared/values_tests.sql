-- The values that a filter may name, out of test_counts.
-- A row is one value. Parameters: none.
-- Grouped by: test, station of c.
select distinct
    /* groups: */ c.test as test /* :groups */
from test_counts as c
order by all
