-- Departures of repaired jobs' step logs from their procedure, from the rows of the log.
-- A row is one job, kind and step (as in conformance.sql, '' where the kind has none). Beside the kinds of breaches there is
-- 'paired': the job has a part that requires another, so that it could have the breach 'pairing'. first_of_kind: true in one
-- row of a job and kind; first_of_step, first_of_job: true in one row of a job and step, and of a job, of the breaches but the
-- two of the battery's order.
-- Parameters: as_of date: jobs closed later and steps dated later are left out; dated_after: only jobs with a step dated after
-- this day, all where it is null.
-- Not counted: jobs that are not repaired, whose procedure is not known, or of which no step of it was logged.
create or replace macro breaches_by_rows(as_of, dated_after) as table
with
-- one row a step of a procedure, with its bit in a word of sixty
plan as (
    select *, place // 60 as word, cast(1 as bigint) << cast(place % 60 as integer) as bit
    from procedure_plan
),
-- one row a rule and step that it reads in a log: forward from the end of the milestone and the start of acts, backward
-- from the start of the check and the end of tightening
sides as (
    select distinct procedure, milestone as step, rule, way, true as is_milestone, way = 1 as by_end, true as once_done
    from order_rules
    union all
    select procedure, act as step, rule, way, false as is_milestone, way = -1 as by_end, way = -1 as once_done
    from order_rules
),
-- one row a repaired job whose procedure is known
comparable as (
    select rowid as job, job_id, procedure
    from jobs
    where disposition = 'repaired' and closed_on <= as_of and procedure in (select procedure from plan)
      and (dated_after is null or job_id in (select job_id from steps where done_on > dated_after))
),
-- one row an attempt: whether it follows the one before it in the store, in the order of the clock and of the log, and what step
-- that was; the store's own order needs no sort as long as nothing is joined before
in_store as (
    select
        job_id, step, step_seq, outcome,
        lag(step) over () as step_before,
        coalesce(
            job_id = lag(job_id) over () and step_seq >= lag(step_seq) over ()
            and coalesce(started_at, ended_at) >= lag(coalesce(ended_at, started_at)) over ()
            and coalesce(ended_at, started_at) >= coalesce(started_at, ended_at),
            false
        ) as follows
    from steps
    where coalesce(done_on <= as_of, true)
),
-- the same of comparable jobs, with the bits of its step
placed_attempts as (
    select c.job, c.procedure, s.outcome, p.word, p.bit, s.follows and coalesce(p.place >= b.place, false) as in_order
    from in_store as s
    join comparable as c on c.job_id = s.job_id
    left join plan as p on p.procedure = c.procedure and p.step = s.step
    left join plan as b on b.procedure = c.procedure and b.step = s.step_before
),
-- one row a job and word of its procedure: bits of the steps logged, tried, done; and how many attempts do not follow the one
-- before in the order of the clock, of the log and of the plan
attempted as (
    select
        job, procedure, coalesce(word, 0) as word,
        bit_or(coalesce(bit, 0)) as logged,
        bit_or(case when outcome <> 'skipped' then coalesce(bit, 0) else 0 end) as tried,
        bit_or(case when outcome in ('pass', 'done') then coalesce(bit, 0) else 0 end) as done,
        count(*) filter (where not in_order) as begins
    from placed_attempts
    group by job, procedure, coalesce(word, 0)
),
-- the same of words with a step that was logged
marks as (
    select * from attempted where logged <> 0
),
-- one row a word of a procedure: all its bits
whole as (
    select procedure, word, bit_or(bit) as declared
    from plan
    group by procedure, word
),
-- one row a job with at least one step of its procedure logged
judged as (
    select job, procedure, count(*) as words
    from marks
    group by job, procedure
),
-- one row a job and word in which something was not done
short as (
    select m.job, m.procedure, m.word, m.logged, m.tried, m.done
    from marks as m
    join whole as w on w.procedure = m.procedure and w.word = m.word
    where m.done <> w.declared
    union all
    select j.job, j.procedure, w.word, 0 as logged, 0 as tried, 0 as done
    from judged as j
    join (select procedure, count(*) as words from whole group by procedure) as n
        on n.procedure = j.procedure and n.words > j.words
    join whole as w on w.procedure = j.procedure
    where not exists (select 1 from marks as m where m.job = j.job and m.word = w.word)
),
-- one row a job and step that was not done
gaps as (
    select
        s.job, s.procedure, p.step, p.phase, p.counts, p.subsystems,
        case
            when s.logged & p.bit = 0 then 'missing'
            when s.tried & p.bit = 0 then 'skipped'
            else 'left_failed'
        end as kind
    from short as s
    join plan as p on p.procedure = s.procedure and p.word = s.word
    where s.done & p.bit = 0
),
-- one row a job and subsystem with such a step not done: how many at each end
loose as (
    select
        g.job, g.procedure, e.subsystem, any_value(e.releases) as all_releases, any_value(e.reseats) as all_reseats,
        count(*) filter (where e.phase = 'release') as releases,
        count(*) filter (where e.phase = 'reseat') as reseats
    from gaps as g
    join connector_ends as e on e.procedure = g.procedure and e.step = g.step
    group by g.job, g.procedure, e.subsystem
),
-- one row a job and step not done while the other end of its subsystem was
unequal as (
    select distinct g.job, g.step
    from loose as l
    join gaps as g on g.job = l.job
    join connector_ends as e on e.procedure = g.procedure and e.step = g.step and e.subsystem = l.subsystem
    where (e.phase = 'reseat' and l.all_releases > l.releases) or (e.phase = 'release' and l.all_reseats > l.reseats)
),
-- one row a job that can have broken a rule of order: a step was not done, or the log does not follow the plan; all others,
-- whose attempts make one row in the order of the plan, each begun after the end of the one before, broke none
suspect as (
    select job from attempted group by job having sum(begins) > 1
    union
    select job from gaps
),
-- one row an attempt of these and rule that reads it: its place, and a key that sorts by time, then place
timed as (
    select
        c.job, x.rule, x.is_milestone,
        x.way * s.step_seq as place,
        x.way * (
            epoch_ms(
                case when x.by_end then coalesce(s.ended_at, s.started_at) else coalesce(s.started_at, s.ended_at) end
            ) * 1048576 + least(s.step_seq, 1048575)
        ) as key
    from steps as s
    join (select * from comparable where job in (select job from suspect)) as c on c.job_id = s.job_id
    left join sides as x on x.procedure = c.procedure and x.step = s.step
    where coalesce(s.done_on <= as_of, true) and s.outcome <> 'skipped' and (s.outcome <> 'fail' or not x.once_done)
),
-- one row a job and rule: when the milestone was reached first, and the first act
compared as (
    select
        job, rule,
        min(case when is_milestone then key end) as reached,
        min(case when is_milestone then place end) as reached_place,
        min(case when not is_milestone then key end) as acted,
        min(case when not is_milestone then place end) as acted_place,
        min(case when not is_milestone and key is null then place end) as untimed_place
    from timed
    group by job, rule
),
-- one row a job and rule that it broke
violated as (
    select job, rule
    from compared
    where acted_place is not null and case
        when reached_place is null then rule < 0
        else coalesce(acted < reached, false) or coalesce(untimed_place < reached_place, false)
            or (reached is null and coalesce(acted_place < reached_place, false))
    end
),
-- one row a job and part that a rule names
fitted as (
    select distinct c.job, f.part_no
    from parts as f
    join comparable as c on c.job_id = f.job_id
    where coalesce(f.quantity, 1) > 0
      and f.part_no in (select part_no from pairings union all select requires_part_no from pairings)
),
-- one row a job with a part that requires another: whether one of these is lacking
paired as (
    select f.job, bool_or(n.job is null) as lacking
    from fitted as f
    join pairings as r on r.part_no = f.part_no
    left join fitted as n on n.job = f.job and n.part_no = r.requires_part_no
    where f.job in (select job from judged)
    group by f.job
),
-- one row a job, kind and step
found as (
    select job, kind, step from gaps
    union all
    select job, 'count_not_done', step from gaps where counts
    union all
    select job, 'unequal_connectors', step from unequal
    union all
    select distinct v.job, r.kind, r.step
    from violated as v
    join (select distinct rule, kind, step from order_rules) as r on r.rule = v.rule
    union all
    select job, 'pairing', '' from paired where lacking
    union all
    select job, 'paired', '' from paired
),
-- the same, and whether it is averaged
breaches as (
    select *, kind not in ('paired', 'isolated_late', 'reconnected_early') as averaged
    from found
)
select
    c.job_id, b.kind, b.step,
    row_number() over (partition by b.job, b.kind order by b.step) = 1 as first_of_kind,
    b.averaged and row_number() over (partition by b.job, b.averaged, b.step order by b.kind) = 1 as first_of_step,
    b.averaged and row_number() over (partition by b.job, b.averaged order by b.kind, b.step) = 1 as first_of_job
from breaches as b
join comparable as c on c.job = b.job
