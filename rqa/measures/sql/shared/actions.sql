-- The improvements that were made.
-- A row is one action: what was changed, from which day on, and where (scope); what led to it, who answers for it, what
-- it should bring, and when it was closed.
-- Parameters: none.
select action_id, what, started_on, scope, finding_id, owner, expected_change, closed_on
from actions
order by action_id
