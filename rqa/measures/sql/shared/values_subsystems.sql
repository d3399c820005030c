-- The values that a filter may name, out of the subsystems that the tests cover.
-- A row is one value. Parameters: none.
-- Grouped by: subsystem of t.
select distinct
    /* groups: */ t.subsystem as subsystem /* :groups */
from tests as t
order by all
