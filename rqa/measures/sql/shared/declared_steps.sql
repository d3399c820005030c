-- The steps that each procedure is declared to have.
-- A row is one step of one procedure. Not counted: nothing.
select distinct procedure, step
from procedures
order by procedure, step
