-- Runs of diagnostics up to a day.
-- A row is one run. Parameters: as_of date, later runs are left out.
-- Not counted: later runs. Runs without a day are counted.
create or replace macro runs_until(as_of) as table
select *
from diagnostics
where coalesce(run_on <= as_of, true)
