-- Attempts at steps up to a day, with what their jobs say.
-- A row is one attempt, as in attempts_of_jobs. Parameters: as_of date, attempts dated later are left out.
-- Not counted: later attempts. Attempts without a day are counted.
create or replace macro attempts_until(as_of) as table
select *
from attempts_of_jobs
where coalesce(day <= as_of, true)
