-- Failed attempts at steps, with what their jobs say and what was logged next.
-- A row is one failed attempt, first or later: technician and day as in attempts_of_jobs; phase as in declared_steps, null where
-- the procedure does not declare the step. way: 'again' (the same step came next), 'back' (an earlier one), 'on' (a later one),
-- 'ended' (nothing more was logged), 'unknown' (the attempt has no time); to_step: the other step that came next, else ''.
-- Order in a job: by start, else end; at equal times by place in the job, then attempt.
-- Not counted: skipped steps, neither as failed nor as next; attempts without a time come next to nothing.
with
-- one row a failed attempt
failed as (
    select * from attempts_of_jobs where outcome = 'fail'
),
-- one row a failed attempt with a time, and what came next
followed as (
    select
        f.job_id, f.step_seq, f.attempt,
        min(row(coalesce(s.started_at, s.ended_at), s.step_seq, s.attempt, s.step)) as next
    from failed as f
    join steps as s
        on s.job_id = f.job_id and s.outcome <> 'skipped'
        and (
            coalesce(s.started_at, s.ended_at) > coalesce(f.started_at, f.ended_at)
            or (
                coalesce(s.started_at, s.ended_at) = coalesce(f.started_at, f.ended_at)
                and (s.step_seq > f.step_seq or (s.step_seq = f.step_seq and s.attempt > f.attempt))
            )
        )
    group by f.job_id, f.step_seq, f.attempt
)
select
    s.job_id, s.step_seq, s.attempt, s.step, s.bench, s.tool, s.fault, s.site, s.model, s.procedure, s.billing,
    s.technician, s.day, p.phase,
    case
        when coalesce(s.started_at, s.ended_at) is null then 'unknown'
        when n.next is null then 'ended'
        when n.next[2] = s.step_seq then 'again'
        when n.next[2] < s.step_seq then 'back'
        else 'on'
    end as way,
    case when n.next[2] <> s.step_seq then n.next[4] else '' end as to_step
from failed as s
left join followed as n on n.job_id = s.job_id and n.step_seq = s.step_seq and n.attempt = s.attempt
left join declared_steps as p on p.procedure = s.procedure and p.step = s.step
order by s.day, s.job_id, s.step_seq, s.attempt
