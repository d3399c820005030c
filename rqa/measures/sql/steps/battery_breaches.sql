-- Jobs in which work began inside before the battery was isolated, or the battery was reconnected early, one by one.
-- A row is one job, kind, step and other_step. kind 'isolated_late': step isolates, other_step is the first one begun inside
-- before it; 'reconnected_early': step reconnects, other_step had to be done before. acted_at: when the work inside or
-- the reconnection began; reached_at: when the isolation or the other step was done, null if unknown or never;
-- state: 'later', 'failed' (tried, never done), 'skipped', 'missing'. day, technician, bench are those of the act.
-- Parameters: $as_of date: jobs closed later and steps dated later are left out.
-- Not counted: open jobs; jobs whose procedure is not known. Rules as in conformance.sql for jobs repaired; in others only
-- release, remove, fit and reseat are work inside, and a reconnection is early only where the other step was done later.
-- Grouped by: month, week of day j.closed_on; site, model, procedure, billing of j or 'unknown'.
with
-- one row a pair of steps of the battery's order, with a number for each kind, procedure and milestone
numbered as (
    select *, dense_rank() over (order by procedure, kind, step, milestone) as rule
    from battery_order
),
-- one row a rule and step that it reads in a log
sides as (
    select distinct procedure, rule, kind, milestone as step, true as is_milestone, true as hands_on
    from numbered
    union all
    select procedure, rule, kind, act as step, false as is_milestone,
        kind = 'reconnected_early' or act_phase in ('release', 'remove', 'fit', 'reseat') as hands_on
    from numbered
),
-- one row a repaired job that did not break the order, as nothing is logged of it after the day
kept_it as (
    select job_id
    from job_turns as t
    where turn = 1 and disposition = 'repaired' and coalesce(settled_on <= $as_of, true)
      and job_id not in (select job_id from job_breaches where kind in ('isolated_late', 'reconnected_early'))
),
-- one row another job that is closed
closed as (
    select rowid as job, job_id, procedure, disposition = 'repaired' as repaired
    from jobs
    where disposition <> 'open' and closed_on <= $as_of and job_id not in (select job_id from kept_it)
),
-- one row an attempt and rule that reads it, if any: its place, and a key that sorts by time, then place; a left join,
-- since the engine would multiply jobs by steps before it looks at the log
timed as not materialized (
    select
        c.job, c.repaired, x.rule, x.kind, x.is_milestone, s.step_seq,
        epoch_ms(
            case when x.is_milestone then coalesce(s.ended_at, s.started_at) else coalesce(s.started_at, s.ended_at) end
        ) * 1048576 + least(s.step_seq, 1048575) as key
    from steps as s
    join closed as c on c.job_id = s.job_id
    left join sides as x on x.procedure = c.procedure and x.step = s.step
    where coalesce(s.done_on <= $as_of, true)
      and s.outcome <> 'skipped'
      and (s.outcome <> 'fail' or not x.is_milestone)
      and (c.repaired or x.hands_on)
),
-- one row a job and rule: when the milestone was reached first, and the first act
compared as not materialized (
    select
        job, rule,
        bool_or(repaired or kind = 'isolated_late') as needed,
        min(case when is_milestone then key end) as reached,
        min(case when is_milestone then step_seq end) as reached_place,
        min(case when not is_milestone then key end) as acted,
        min(case when not is_milestone then step_seq end) as acted_place,
        min(case when not is_milestone and key is null then step_seq end) as untimed_place
    from timed
    group by job, rule
),
-- one row a job and rule that it broke
violated as materialized (
    select job, rule, reached, reached_place
    from compared
    where acted_place is not null and case
        when reached_place is null then needed
        else coalesce(acted < reached, false)
            or coalesce(untimed_place < reached_place, false)
            or (reached is null and coalesce(acted_place < reached_place, false))
    end
),
-- one row an attempt in these jobs
theirs as (
    select
        v.job, v.rule, v.reached, v.reached_place, j.disposition = 'repaired' as repaired, s.step, s.step_seq, s.attempt,
        s.outcome, s.technician, s.bench, s.done_on,
        coalesce(s.started_at, s.ended_at) as begun, coalesce(s.ended_at, s.started_at) as ended
    from violated as v
    join jobs as j on j.rowid = v.job
    join steps as s on s.job_id = j.job_id
    where coalesce(s.done_on <= $as_of, true)
),
-- one row a job and rule: how the milestone was reached, if ever
milestones as (
    select
        t.job, t.rule,
        min(case when t.outcome in ('pass', 'done') then t.ended end) as reached_at,
        case
            when bool_or(t.outcome in ('pass', 'done')) then 'later'
            when bool_or(t.outcome = 'fail') then 'failed'
            else 'skipped'
        end as state
    from theirs as t
    join sides as x on x.rule = t.rule and x.is_milestone and x.step = t.step
    group by t.job, t.rule
),
-- one row an act that came too early, numbered in the order of time, then place
acts as (
    select
        t.job, t.rule, t.step, t.begun, t.technician, t.bench, t.done_on,
        row_number() over (partition by t.job, t.rule order by t.begun nulls last, t.step_seq, t.attempt) as number
    from theirs as t
    join sides as x on x.rule = t.rule and not x.is_milestone and x.step = t.step
    where t.outcome <> 'skipped'
      and (t.repaired or x.hands_on)
      and coalesce(
          epoch_ms(t.begun) * 1048576 + least(t.step_seq, 1048575) < t.reached, t.step_seq < t.reached_place, true
      )
)
select
    /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
    j.job_id, j.unit_id,
    coalesce(a.done_on, j.closed_on) as day,
    r.kind, r.step,
    case when r.kind = 'isolated_late' then a.step else r.milestone end as other_step,
    a.begun as acted_at,
    m.reached_at,
    coalesce(m.state, 'missing') as state,
    coalesce(a.technician, j.technician) as technician,
    a.bench
from acts as a
join jobs as j on j.rowid = a.job
join (select distinct rule, kind, step, milestone from numbered) as r on r.rule = a.rule
left join milestones as m on m.job = a.job and m.rule = a.rule
where a.number = 1 and /* filters: */ true /* :filters */
order by all
