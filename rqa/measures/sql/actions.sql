-- The improvements that were made.
-- A row is one action: what was changed, from which day on, and where (scope).
-- Parameters: none.
select action_id, what, started_on, scope
from actions
order by action_id
