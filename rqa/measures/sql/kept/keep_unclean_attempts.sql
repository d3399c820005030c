-- Attempts at steps that ended after a run of a test which did not just pass at once: what work followed is told by these.
-- A row is one attempt: began_at, done_at (an attempt with one time is taken to begin and end then; null for both without
-- any, which may have been at any time). Working table of a load; not kept. Not counted: skipped steps.
with
-- one row a test of a job with a run that failed, was aborted, or was not the first
unclean_in_job as (
    select distinct job_id, test from diagnostics where outcome <> 'pass' or run > 1
),
-- one row a job with such tests: when the first of them was run
unclean as (
    select d.job_id, min(d.run_at) as first_at
    from diagnostics as d
    join unclean_in_job as u on u.job_id = d.job_id and u.test = d.test
    group by d.job_id
)
select
    s.job_id, s.step, s.attempt, s.outcome,
    coalesce(s.started_at, s.ended_at) as began_at, coalesce(s.ended_at, s.started_at) as done_at
from steps as s
join unclean as u on u.job_id = s.job_id
where s.outcome <> 'skipped' and coalesce(coalesce(s.ended_at, s.started_at) > u.first_at, true)
