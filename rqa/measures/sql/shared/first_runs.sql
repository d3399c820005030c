-- First runs of diagnostics up to a day.
-- A row is one test of a job. Parameters: as_of date, later runs are left out.
-- Not counted: runs beyond the first; tests of a job whose first run is not in the store.
create or replace macro first_runs(as_of) as table
select *
from runs_until(as_of)
where run = 1
