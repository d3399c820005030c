-- The subsystems that steps touch, as their procedures declare them.
-- A row is one procedure, step and subsystem. Parameters: none. Not counted: steps that touch no subsystem.
create or replace view step_subsystems as
select distinct procedure, step, unnest(subsystems) as subsystem
from procedures
