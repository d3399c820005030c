-- All that the logs hold of one unit.
-- A row is one event of a job, in order of the jobs' opening and then of time; at is null where its log has no time.
-- event and what it names: opened (complaint), came back (class of the come-back that this job is, number: days since
-- the closing of the repair before), came again (after a job that found no fault, number: the days since), step (one that failed, was skipped or was done again, number: attempt), test (each run, number:
-- run), part (part_no, outcome: lot), closed (found, outcome: disposition); left service has no job.
-- Parameters: $unit, its id; $as_of date, what comes later is left out.
-- Not counted: steps that passed or were done at the first attempt.
-- Merged: rows of one bucket.
with
-- one row a job of the unit
known as (
    select * from jobs where unit_id = $unit and opened_on <= $as_of
),
-- one row an event; place: which stand before which within a job
events as (
    select
        job_id, 'opened' as event, 0 as place, opened_at as at, opened_on as day, complaint as what,
        procedure as outcome, cast(null as bigint) as number, cast(null as varchar) as where_done, technician
    from known
    union all
    select
        l.return_job_id, if(l.disposition = 'repaired', 'came back', 'came again'), 1, k.opened_at, l.return_opened_on,
        if(l.disposition = 'repaired', l.class, null), null, l.elapsed_days, null, null
    from links as l
    join known as k on k.job_id = l.return_job_id
    union all
    select
        s.job_id, 'step', 2, coalesce(s.ended_at, s.started_at), s.day, s.step, s.outcome, s.attempt, s.bench,
        s.technician
    from attempts_until($as_of) as s
    join known as k on k.job_id = s.job_id
    where s.outcome in ('fail', 'skipped') or s.attempt > 1
    union all
    select d.job_id, 'test', 2, d.run_at, d.run_on, d.test, d.outcome, d.run, d.station, null
    from runs_until($as_of) as d
    join known as k on k.job_id = d.job_id
    union all
    select p.job_id, 'part', 3, null, null, p.part_no, p.lot, null, null, null
    from parts as p
    join known as k on k.job_id = p.job_id
    union all
    select job_id, 'closed', 4, closed_at, closed_on, found, disposition, null, null, technician
    from known
    where closed_on <= $as_of
    union all
    select null, 'left service', 5, retired_at, retired_on, null, null, null, null, null
    from retirements
    where unit_id = $unit and retired_on <= $as_of
)
select
    e.job_id, k.site, k.model, e.event, e.day, e.at, e.what, e.outcome, cast(e.number as bigint) as number,
    e.where_done as place, e.technician
from events as e
left join known as k on k.job_id = e.job_id
order by k.opened_at nulls last, e.job_id, e.place, e.at nulls first, e.event, e.what, e.number, e.outcome
