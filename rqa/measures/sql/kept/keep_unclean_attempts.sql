-- Attempts at steps in jobs of which some test did not just pass at once: what work lay between their runs is told by these.
-- A row is one attempt: began_at, done_at (an attempt with one time is taken to begin and end then; null for both without
-- any). Working table of a load; not kept. Not counted: skipped steps.
with
-- one row a job with a run that failed, was aborted, or was not the first
unclean as (
    select distinct job_id from diagnostics where outcome <> 'pass' or run > 1
)
select
    s.job_id, s.step, s.attempt, s.outcome,
    coalesce(s.started_at, s.ended_at) as began_at, coalesce(s.ended_at, s.started_at) as done_at
from steps as s
join unclean as u on u.job_id = s.job_id
where s.outcome <> 'skipped'
