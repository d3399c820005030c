-- Attempts at steps up to a day, with what their jobs and procedures say.
-- A row is one attempt, as in attempts_of_jobs. phase, opportunities: of the step, as in declared_steps; null where its
-- job's procedure does not declare it.
-- Parameters: as_of date, attempts dated later are left out.
-- Not counted: later attempts. Attempts without a day are counted.
create or replace macro attempts_until(as_of) as table
select s.*, p.phase, p.opportunities
from attempts_of_jobs as s
left join declared_steps as p on p.procedure = s.procedure and p.step = s.step
where coalesce(s.day <= as_of, true)
