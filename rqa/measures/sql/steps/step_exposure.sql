-- How often steps were done, with the chances to make a defect; or only how often checks failed.
-- A row is one group. jobs: jobs with a logged step in the group; logged: first attempts; done: those not skipped; checked:
-- those that passed or failed; failed; skipped; reworked: second attempts; opportunities: those of the first attempts
-- not skipped, as their procedure declares them (the mean, rounded up, where it has the step several times with unlike
-- numbers); undeclared: first attempts not skipped at steps that the job's procedure does not declare, one chance each.
-- Where parts or lots are asked for, an attempt counts once under each part and lot that its job had fitted.
-- Parameters: $as_of date: attempts dated later are left out; $last_attempt, 2. Where it is not given, all is counted of
-- checked first attempts alone, without logged, done, skipped and reworked.
-- Not counted: attempts beyond $last_attempt; where parts or lots are asked for, jobs without a part.
-- A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool, phase of p or 'unknown';
--   part_no of c; lot of c or 'unknown'.
-- Merged: sums of jobs; the others as read.
with
-- one row a job and what is asked of the part and lot fitted in it
fitted as (select distinct job_id /* if part_no: */ , part_no /* :if part_no */ /* if lot: */ , lot /* :if lot */ from parts),
-- one row a record of turns of work, numbered; those of jobs with several turns stay apart, so that each job is counted once
cells as (
    select
        /* asked: */ cast(date_trunc('month', t.day) as date) as month,
        cast(date_trunc('week', t.day) as date) as week,
        t.site, t.model, t.procedure, t.technician, t.billing, t.bench, f.part_no, f.lot, /* :asked */
        t.record,
        case when t.turns > 1 /* if part_no or lot: */ or true /* :if part_no or lot */ then t.job_id end as apart,
        count(*) as turns, row_number() over () as cell
    from job_turns as t
    /* if part_no or lot: */ join fitted as f on f.job_id = t.job_id /* :if part_no or lot */
    where t.record is not null and coalesce(t.day <= $as_of, true)
    group by all
),
-- one row a group and job that stays apart, or the group's other jobs: what their turns logged; where it is not told by
-- the rows that stand for steps how many jobs these are, one row a cell
each as (
    select
        /* groups: */ p.step as step, /* :groups */
        /* unless step: */ c.cell, /* :unless step */
        /* if tool: */ c.cell as cell_of_tool, /* :if tool */
        c.apart, max(c.turns) as turns, coalesce(sum(c.turns) filter (where p.first_of_step), 0) as with_step,
        /* given last_attempt: */
        sum(c.turns * p.attempts) filter (where p.attempt = 1) as logged,
        sum(c.turns * p.attempts) filter (where p.attempt = 1 and p.outcome <> 'skipped') as done,
        sum(c.turns * p.attempts) filter (where p.attempt = 1 and p.outcome = 'skipped') as skipped,
        sum(c.turns * p.attempts) filter (where p.attempt = 2 and p.outcome <> 'skipped') as reworked,
        /* :given last_attempt */
        sum(c.turns * p.attempts) filter (where p.attempt = 1 and p.outcome in ('pass', 'fail')) as checked,
        sum(c.turns * p.attempts) filter (where p.attempt = 1 and p.outcome = 'fail') as failed,
        sum(c.turns * p.attempts * coalesce(p.opportunities, 1))
            filter (where p.attempt = 1 and p.outcome <> 'skipped') as chances,
        sum(c.turns * p.attempts) filter (where p.attempt = 1 and p.outcome <> 'skipped' and p.phase is null) as undeclared
    from cells as c
    join record_steps as p on p.record = c.record
    where (
        p.attempt = 1 and p.outcome in ('pass', 'fail')
        /* given last_attempt: */ or p.attempt <= $last_attempt /* :given last_attempt */
    ) and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ step, /* :names */
    cast(
        coalesce(
            sum(
                /* unless step: */ turns + 0 * /* :unless step */ /* if tool: */ turns + 0 * /* :if tool */ with_step
            ) filter (where apart is null), 0
        ) + count(distinct apart) as bigint
    ) as jobs,
    /* given last_attempt: */
    cast(coalesce(sum(logged), 0) as bigint) as logged,
    cast(coalesce(sum(done), 0) as bigint) as done,
    /* :given last_attempt */
    cast(coalesce(sum(checked), 0) as bigint) as checked,
    cast(coalesce(sum(failed), 0) as bigint) as failed,
    /* given last_attempt: */
    cast(coalesce(sum(skipped), 0) as bigint) as skipped,
    cast(coalesce(sum(reworked), 0) as bigint) as reworked,
    /* :given last_attempt */
    cast(coalesce(sum(chances), 0) as bigint) as opportunities,
    cast(coalesce(sum(undeclared), 0) as bigint) as undeclared
from each
group by all order by all
