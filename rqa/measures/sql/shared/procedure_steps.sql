-- The steps that each procedure is declared to have.
-- A row is one step of one procedure. Not counted: nothing.
select procedure, step
from declared_steps
order by procedure, step
