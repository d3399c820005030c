-- Come-backs of index jobs, or how long these were followed, by what their step log names: step, bench, tool, phase.
-- A row is one group and class of come-back (null: none seen), with counts as in comebacks.sql; or, where $window is null, one
-- group, day since closing and outcome, as in follow_up.sql. A job counts once in each group its log names, so groups overlap
-- and do not add up.
-- Parameters: $window days, null for how long they were followed; $upto days, given for that alone; $as_of date,
-- $disposition of the index jobs.
-- Not counted: jobs without a step log; retirements as in follow_up.sql; steps that were skipped are named all the same.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool, phase of p or 'unknown'.
with
-- one row a record of turns of work and what became of the jobs, numbered; jobs with several turns stay apart
cells as (
    select
        /* asked: */ t.month, t.week, t.site, t.model, t.procedure, t.job_technician as technician, t.billing, t.bench, /* :asked */
        t.record,
        /* given window: */ t.class, t.matured, t.returned, /* :given window */
        /* given upto: */ l.day, l.until_then, /* :given upto */
        case when t.turns > 1 then t.job_id end as apart,
        count(*) as turns, row_number() over () as cell
    from index_turns($as_of, $window, $disposition) as t
    /* given upto: */ join followed_upto($as_of, $upto, $disposition) as l on l.job_id = t.job_id /* :given upto */
    where t.record is not null
    group by all
),
-- one row a group and cell, or a group and job that stays apart
logged as (
    select distinct
        /* groups: */ p.step as step, /* :groups */
        /* given window: */ c.class, c.matured, c.returned, /* :given window */
        /* given upto: */ c.day as followed_days, c.until_then, /* :given upto */
        c.apart,
        case when c.apart is null then c.cell end as cell,
        case when c.apart is null then c.turns else 1 end as jobs
    from cells as c
    join record_steps as p on p.record = c.record
    where /* filters: */ true /* :filters */
)
select
    /* names: */ step, /* :names */
    /* given upto: */ cast(followed_days as bigint) as day, until_then as outcome, /* :given upto */
    /* given window: */ class, /* :given window */
    cast(sum(jobs) as bigint) as jobs
    /* given window: */ ,
    cast(coalesce(sum(jobs) filter (where matured), 0) as bigint) as matured,
    cast(coalesce(sum(jobs) filter (where returned), 0) as bigint) as returned
    /* :given window */
from logged
group by all order by all
