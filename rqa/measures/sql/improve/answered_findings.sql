-- Which findings were answered by which actions.
-- A row is one action that names a finding. Parameters: $as_of date: actions begun later are left out.
-- Not counted: actions that name no finding.
select action_id, finding_id
from actions
where finding_id is not null and started_on <= $as_of
order by action_id
