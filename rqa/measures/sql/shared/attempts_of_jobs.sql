-- Attempts at steps with what their jobs say.
-- A row is one attempt. day: its own, else that of its job's closing, else of its job's opening; technician: its own, else
-- its job's; site, model, procedure, billing: its job's, null where the store has no such job.
-- Parameters: none. Not counted: nothing.
create or replace view attempts_of_jobs as
select
    s.job_id, s.step_seq, s.attempt, s.step, s.bench, s.tool, s.outcome, s.fault, s.value, s.started_at, s.ended_at,
    j.site, j.model, j.procedure, j.billing,
    coalesce(s.technician, j.technician) as technician,
    coalesce(s.done_on, j.closed_on, j.opened_on) as day
from steps as s
left join jobs as j on j.job_id = s.job_id
