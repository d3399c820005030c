-- All that the logs hold of one job, its steps beside the procedure.
-- A row is one step (kind 'step': those of the job's procedure in their order, then others that were logged), run of a test
-- ('test'), or part ('part'). Of a step: planned: its place in the procedure, from 1 on, null where it is not in it; logged: its
-- place among the steps logged, by the first attempt's time, else by place in the log, null where it was not logged; attempts;
-- outcome: of the last attempt; failed: attempts that failed; first_at and last_at: begin of the first and end of the last attempt;
-- place: benches; fault: codes of failed attempts; phase, hold_point and irreversible: as the procedure says. Of a test: attempts:
-- the run's number; value with its limits and unit; place: the station. Of a part: outcome: its lot; attempts: how many.
-- breaches: kinds of breach at the step, with chr(31) between them, null without; '' as name for those of no step.
-- Parameters: $job, its id; $as_of date: what is dated later is left out; $later, the same date again, given only where the job
-- is closed by then and has a step dated later: its log is read anew.
-- Not counted: nothing.
-- Merged: rows of one bucket.
with
-- the job
own as (
    select * from jobs where job_id = $job and opened_on <= $as_of
),
-- one row a step that was logged
logged as (
    select
        s.step, min(s.step_seq) as step_seq, count(*) as attempts, max_by(s.outcome, row(s.attempt, s.step_seq)) as outcome,
        count(*) filter (where s.outcome = 'fail') as failed,
        min(coalesce(s.started_at, s.ended_at)) as first_at, max(coalesce(s.ended_at, s.started_at)) as last_at,
        string_agg(distinct s.bench, ', ' order by s.bench) as place,
        string_agg(distinct s.fault, ', ' order by s.fault) as fault,
        max_by(s.value, row(s.attempt, s.step_seq)) as value,
        string_agg(distinct s.technician, ', ' order by s.technician) as technician
    from attempts_until($as_of) as s
    where s.job_id = $job
    group by s.step
),
-- the same, numbered as they were begun
numbered as (
    select *,
        case when outcome <> 'skipped' then
            row_number() over (partition by outcome = 'skipped' order by first_at nulls last, step_seq)
        end as logged
    from logged
),
-- one row a step at which the job departs from its procedure
departs as (
    select step, string_agg(distinct kind, chr(31) order by kind) as breaches
    from (
        select kind, step from job_breaches
        where job_id = $job and closed_on <= $as_of and coalesce(settled_on <= $as_of, true)
        /* given later: */
        union all
        select kind, step from breaches_cut_off($later) where job_id = $job
        /* :given later */
    ) as both_kinds
    where kind <> 'paired'
    group by step
),
-- one row a step of the procedure
plan as (
    select p.* from procedure_plan as p join own as o on o.procedure = p.procedure
)
select
    'step' as kind, coalesce(p.step, n.step) as name, cast(p.place + 1 as bigint) as planned, cast(n.logged as bigint) as logged,
    p.phase, p.hold_point, p.irreversible, n.outcome, cast(coalesce(n.attempts, 0) as bigint) as attempts,
    cast(coalesce(n.failed, 0) as bigint) as failed, n.fault, n.first_at, n.last_at, n.place, n.value,
    cast(null as double) as lower_limit, cast(null as double) as upper_limit, cast(null as varchar) as unit, d.breaches,
    n.technician, cast(1 as bigint) as part, cast(coalesce(p.place, 1000000 + n.step_seq) as bigint) as at_place
from plan as p
full join numbered as n on n.step = p.step
left join departs as d on d.step = coalesce(p.step, n.step)
union all
select
    'step', '', null, null, null, null, null, null, 0, 0, null, null, null, null, null, null, null, null, breaches, null, 2, 0
from departs
where step = ''
union all
select
    'test', r.test, null, null, null, null, null, r.outcome, cast(r.run as bigint), cast(r.outcome = 'fail' as bigint), null,
    r.run_at, r.run_at, r.station, r.value, r.lower_limit, r.upper_limit, r.unit, null, null, 3, epoch_ms(r.run_at)
from runs_until($as_of) as r
join own as o on o.job_id = r.job_id
union all
select
    'part', p.part_no, null, null, null, null, null, p.lot, cast(coalesce(p.quantity, 1) as bigint), 0, null, null, null, null,
    null, null, null, null, null, null, 4, p.line
from parts as p
join own as o on o.job_id = p.job_id
order by part, at_place, name, attempts, outcome
