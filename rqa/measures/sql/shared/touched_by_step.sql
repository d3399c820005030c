-- The subsystems that steps touch.
-- A row is one procedure, step and subsystem.
-- Parameters: none.
select procedure, step, subsystem
from step_subsystems
order by procedure, step, subsystem
