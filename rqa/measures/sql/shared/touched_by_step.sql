-- The subsystems that steps touch.
-- A row is one procedure, step and subsystem.
-- Parameters: none.
select distinct procedure, step, unnest(subsystems) as subsystem
from procedures
where subsystems is not null
order by procedure, step, subsystem
