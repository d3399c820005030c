-- Repaired jobs whose step log departs from their procedure, by kind of breach and step, and what became of them.
-- A row is one group, procedure (of_procedure), model (of_model), kind and step. jobs could have had the breach, breached
-- did; matured, returned are index jobs closed $window days before $as_of or earlier and those of them that came back;
-- breached_matured, breached_returned the same of the breached. A job counts once in each row; step '' means any step,
-- kind '' any kind but the two of the battery's order, which are not averaged. Kinds: 'missing', 'skipped', 'left_failed',
-- 'count_not_done', 'unequal_connectors', 'out_of_order', 'check_before_tightening', 'irreversible_before_hold', 'pairing',
-- and of the battery's order 'isolated_late', 'reconnected_early'; counted
-- beside: 'no_procedure' (the reference has no such procedure), 'no_log' (no step of it was logged).
-- Parameters: $window days, $as_of date: jobs closed later and steps dated later are left out.
-- Not counted: jobs that are not repaired. A step that a procedure names twice stands at its first place. Done means passed
-- or done without a check. Order is by the clock, where a time is missing or times are equal by place in the job.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'; bench as case when m.first_bench = m.last_bench
--   then m.first_bench when m.first_bench is null then 'unknown' else 'several' end.
with
-- one row a step of a procedure, with its bit in a word of sixty
plan as (
    select *, place // 60 as word, cast(1 as bigint) << cast(place % 60 as integer) as bit
    from procedure_plan
),
-- one row a check of alignment that names no step to follow: the last screws before it
last_screws as (
    select b.procedure, b.step, max(a.place) as place
    from plan as b
    join plan as a on a.procedure = b.procedure and a.place < b.place
    where b.aligns and b.must_follow is null and a.phase in ('fit', 'close')
      and list_contains(a.hazards, 'mixed_fasteners')
    group by b.procedure, b.step
),
-- one row a pair of steps whose order matters: no act may come before the milestone (of a check before tightening: none
-- after it); step is the one to look at
pairs as (
    select b.procedure, 'check_before_tightening' as kind, b.step, b.step as milestone, a.step as act
    from plan as b
    left join last_screws as t on t.procedure = b.procedure and t.step = b.step
    join plan as a on a.procedure = b.procedure and a.place < b.place
    where b.aligns and (a.step = b.must_follow or a.place = t.place)
    union all
    select b.procedure, 'irreversible_before_hold' as kind, b.step, a.step as milestone, b.step as act
    from plan as b
    join plan as a on a.procedure = b.procedure and a.place < b.place
    where b.irreversible and a.hold_point
    union all
    select b.procedure, 'out_of_order' as kind, b.step, a.step as milestone, b.step as act
    from plan as b
    join plan as a on a.procedure = b.procedure and a.place < b.place and a.step = b.must_follow
    where not b.aligns and not b.reconnects and not coalesce(b.irreversible and a.hold_point, false)
    union all
    select procedure, kind, step, milestone, act
    from battery_order
),
-- one row a pair with the number of its rule: below 0 where a milestone never reached is a breach too
rules as (
    select
        *,
        dense_rank() over (order by procedure, kind, step, milestone)
        * case when kind in ('check_before_tightening', 'out_of_order') then 1 else -1 end as rule,
        case when kind = 'check_before_tightening' then -1 else 1 end as way
    from pairs
),
-- one row a rule and step that it reads in a log: forward from the end of the milestone and the start of acts, backward
-- from the start of the check and the end of tightening
sides as (
    select distinct procedure, milestone as step, rule, way, true as is_milestone, way = 1 as by_end, true as once_done
    from rules
    union all
    select procedure, act as step, rule, way, false as is_milestone, way = -1 as by_end, way = -1 as once_done
    from rules
),
-- one row a repaired job whose procedure is known
comparable as (
    select rowid as job, job_id, procedure
    from jobs
    where disposition = 'repaired' and closed_on <= $as_of and procedure in (select procedure from plan)
),
-- one row a job and word of its procedure: bits of the steps logged, tried, done
marks as (
    select
        c.job, c.procedure, coalesce(p.word, 0) as word,
        /* if bench: */ min(s.bench) as first_bench, max(s.bench) as last_bench, /* :if bench */
        bit_or(coalesce(p.bit, 0)) as logged,
        bit_or(case when s.outcome <> 'skipped' then coalesce(p.bit, 0) else 0 end) as tried,
        bit_or(case when s.outcome in ('pass', 'done') then coalesce(p.bit, 0) else 0 end) as done
    from steps as s
    join comparable as c on c.job_id = s.job_id
    left join plan as p on p.procedure = c.procedure and p.step = s.step
    where coalesce(s.done_on <= $as_of, true)
    group by c.job, c.procedure, coalesce(p.word, 0)
    having bit_or(coalesce(p.bit, 0)) <> 0
),
-- one row a word of a procedure: all its bits
whole as (
    select procedure, word, bit_or(bit) as declared
    from plan
    group by procedure, word
),
-- one row a job with at least one step of its procedure logged
judged as (
    select
        job, procedure,
        /* if bench: */ min(first_bench) as first_bench, max(last_bench) as last_bench, /* :if bench */
        count(*) as words
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
-- one row a procedure and step that releases or reconnects a subsystem
ends as (
    select procedure, step, phase, unnest(subsystems) as subsystem
    from plan
    where phase in ('release', 'reseat')
),
-- one row a procedure and subsystem that has both ends: how many steps at each
joints as (
    select
        procedure, subsystem,
        count(*) filter (where phase = 'release') as releases,
        count(*) filter (where phase = 'reseat') as reseats
    from (select distinct procedure, step, phase, subsystem from ends) as each_once
    group by procedure, subsystem
    having count(distinct phase) = 2
),
-- one row a job and subsystem with such a step not done
loose as (
    select
        g.job, g.procedure, e.subsystem,
        count(*) filter (where e.phase = 'release') as releases,
        count(*) filter (where e.phase = 'reseat') as reseats
    from gaps as g
    join (select distinct procedure, step, phase, subsystem from ends) as e
        on e.procedure = g.procedure and e.step = g.step
    group by g.job, g.procedure, e.subsystem
),
-- one row a job and step not done while the other end of its subsystem was
unequal as (
    select distinct g.job, g.step
    from loose as l
    join joints as t on t.procedure = l.procedure and t.subsystem = l.subsystem
    join gaps as g on g.job = l.job
    join ends as e on e.procedure = g.procedure and e.step = g.step and e.subsystem = l.subsystem
    where (e.phase = 'reseat' and t.releases > l.releases) or (e.phase = 'release' and t.reseats > l.reseats)
),
-- one row an attempt and rule that reads it, if any: its place, and a key that sorts by time, then place; a left join,
-- since the engine would multiply jobs by steps before it looks at the log
timed as not materialized (
    select
        c.job, x.rule, x.is_milestone,
        x.way * s.step_seq as place,
        x.way * (
            epoch_ms(
                case when x.by_end then coalesce(s.ended_at, s.started_at) else coalesce(s.started_at, s.ended_at) end
            ) * 1048576 + least(s.step_seq, 1048575)
        ) as key
    from steps as s
    join comparable as c on c.job_id = s.job_id
    left join sides as x on x.procedure = c.procedure and x.step = s.step
    where coalesce(s.done_on <= $as_of, true) and s.outcome <> 'skipped' and (s.outcome <> 'fail' or not x.once_done)
),
-- one row a job and rule: when the milestone was reached first, and the first act
compared as not materialized (
    select
        job, rule,
        min(case when is_milestone then key end) as reached,
        min(case when is_milestone then place end) as reached_place,
        min(case when not is_milestone then key end) as acted,
        min(case when not is_milestone then place end) as acted_place,
        min(case when not is_milestone and key is null then place end) as untimed_place
    from timed group by job, rule
),
-- one row a job and rule that it broke
violated as materialized (
    select job, rule
    from compared
    where case
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
    group by f.job
),
-- one row a job, kind and step
breaches as (
    select job, kind, step from gaps
    union all
    select job, 'count_not_done' as kind, step from gaps where counts
    union all
    select job, 'unequal_connectors' as kind, step from unequal
    union all
    select distinct v.job, r.kind, r.step
    from violated as v
    join (select distinct rule, kind, step from rules) as r on r.rule = v.rule
    union all
    select job, 'pairing' as kind, '' as step from paired where lacking and job in (select job from judged)
),
-- one row a procedure, kind and step that its jobs could break
possible as (
    select p.procedure, k.kind, p.step
    from plan as p
    cross join (select unnest(['missing', 'skipped', 'left_failed']) as kind) as k
    union all
    select procedure, 'count_not_done' as kind, step from plan where counts
    union all
    select e.procedure, 'unequal_connectors' as kind, e.step
    from ends as e
    join joints as t on t.procedure = e.procedure and t.subsystem = e.subsystem
    union all
    select procedure, kind, step from rules
),
-- one row a repaired job: its groups, and what became of it
told as not materialized (
    select
        j.rowid as job,
        /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
        j.procedure as of_procedure,
        j.model as of_model,
        case
            when m.job is not null then ''
            when j.procedure in (select procedure from plan) then 'no_log'
            else 'no_procedure'
        end as beside,
        coalesce(l.matured, false) as mature,
        coalesce(l.returned, false) as came_back
    from jobs as j
    left join judged as m on m.job = j.rowid
    left join index_jobs($as_of, $window, 'repaired') as l on l.job_id = j.job_id
    where j.disposition = 'repaired' and j.closed_on <= $as_of and /* filters: */ true /* :filters */
),
-- one row a group, procedure and model
base as (
    select
        /* names: */ site, /* :names */ of_procedure, of_model, beside,
        count(*) as jobs,
        count(*) filter (where mature) as matured,
        count(*) filter (where came_back) as returned
    from told
    group by all
),
-- one row a group and what its jobs could break, then those that did
cells as (
    select
        /* names: */ site, /* :names */ b.of_procedure, b.of_model, p.kind, p.step, b.jobs, b.matured, b.returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from base as b
    join (
        select procedure as followed, kind, step from possible
        union
        select procedure as followed, kind, '' as step from possible
        union
        select procedure as followed, '' as kind, step from possible
        union
        select procedure as followed, '' as kind, '' as step from possible
    ) as p on p.followed = b.of_procedure
    where b.beside = ''
    union all
    select
        /* names: */ site, /* :names */ of_procedure, of_model, beside as kind, '' as step, jobs, matured, returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from base
    where beside <> ''
    union all
    select
        /* names: */ site, /* :names */ t.of_procedure, t.of_model, 'pairing' as kind, '' as step,
        count(*) as jobs, count(*) filter (where t.mature) as matured, count(*) filter (where t.came_back) as returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from paired as f
    join told as t on t.job = f.job
    where t.beside = ''
    group by all
    union all
    select
        /* names: */ site, /* :names */ t.of_procedure, t.of_model, b.kind, b.step,
        0 as jobs, 0 as matured, 0 as returned,
        count(*) as breached, count(*) filter (where t.mature) as breached_matured,
        count(*) filter (where t.came_back) as breached_returned
    from (
        select job, kind, step from breaches
        union
        select job, kind, '' as step from breaches
        union
        select job, '' as kind, step from breaches where kind not in ('isolated_late', 'reconnected_early')
        union
        select job, '' as kind, '' as step from breaches where kind not in ('isolated_late', 'reconnected_early')
    ) as b
    join told as t on t.job = b.job
    group by all
)
select
    /* names: */ site, /* :names */ of_procedure, of_model, kind, step,
    cast(sum(jobs) as bigint) as jobs,
    cast(sum(matured) as bigint) as matured,
    cast(sum(returned) as bigint) as returned,
    cast(sum(breached) as bigint) as breached,
    cast(sum(breached_matured) as bigint) as breached_matured,
    cast(sum(breached_returned) as bigint) as breached_returned
from cells
group by all
order by all
