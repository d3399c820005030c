-- Where a failed check sent the job: what was logged next.
-- A row is one group, way and step that came next. way: 'again' (the same step), 'back' (an earlier one), 'on' (a later one),
-- 'ended' (nothing more was logged), 'unknown' (the failed attempt has no time); to_step: the other step that
-- came next, '' without one. failures counts failed attempts, first and later ones.
-- Parameters: $as_of date: failed attempts dated later are left out.
-- Not counted: skipped steps, neither as failed nor as next; attempts without a time come next to nothing. Order in a job: by
-- start, else end; at equal times by place in the job, then attempt.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
with
-- one row a failed attempt's job
failing as (
    select distinct job_id
    from steps
    where outcome = 'fail'
),
-- one row an attempt in those jobs that has a time, with what came next
followed as (
    select
        s.job_id, s.step_seq, s.attempt, s.outcome,
        lead(s.step) over next_logged as next_step,
        lead(s.step_seq) over next_logged as next_seq
    from steps as s
    join failing as f on f.job_id = s.job_id
    where s.outcome <> 'skipped' and coalesce(s.started_at, s.ended_at) is not null
    window next_logged as (
        partition by s.job_id order by coalesce(s.started_at, s.ended_at), s.step_seq, s.attempt
    )
)
select
    /* groups: */ s.step as step, /* :groups */
    case
        when coalesce(s.started_at, s.ended_at) is null then 'unknown'
        when n.next_seq is null then 'ended'
        when n.next_seq = s.step_seq then 'again'
        when n.next_seq < s.step_seq then 'back'
        else 'on'
    end as way,
    case when n.next_seq <> s.step_seq then n.next_step else '' end as to_step,
    cast(count(*) as bigint) as failures
from attempts_until($as_of) as s
left join followed as n on n.job_id = s.job_id and n.step_seq = s.step_seq and n.attempt = s.attempt
where s.outcome = 'fail' and /* filters: */ true /* :filters */
group by all
order by all
