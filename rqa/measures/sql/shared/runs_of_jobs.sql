-- Runs of diagnostics up to a day, with what their jobs say.
-- A row is one run, as in runs_until; site, model, procedure, technician, billing: its job's, null where the store has no
-- such job.
-- Parameters: as_of date, later runs are left out. Not counted: later runs. Runs without a day are counted.
create or replace macro runs_of_jobs(as_of) as table
select d.*, j.site, j.model, j.procedure, j.technician, j.billing
from runs_until(as_of) as d
left join jobs as j on j.job_id = d.job_id
