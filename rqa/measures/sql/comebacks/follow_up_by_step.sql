-- How long index jobs were followed and how that ended, by what their step log names: step, bench, tool, phase.
-- A row is one group, day since closing and outcome, as in follow_up.sql; a job counts once in each group its log
-- names, so groups overlap and do not add up.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; retirements as in follow_up.sql.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool, phase of p or 'unknown'.
with
-- one row a record of turns of work and how the jobs were followed; jobs with several turns stay apart
cells as (
    select
        /* asked: */
        cast(date_trunc('month', t.closed_on) as date) as month,
        cast(date_trunc('week', t.closed_on) as date) as week,
        t.site,
        t.model,
        t.procedure,
        t.job_technician as technician,
        t.billing,
        t.bench,
        /* :asked */
        t.record, l.day, l.until_then, case when t.turns > 1 then t.job_id end as apart, count(*) as turns
    from followed_upto($as_of, $upto, $disposition) as l
    join job_turns as t on t.job_id = l.job_id
    where t.record is not null
    group by all
),
-- the same, numbered
numbered as (
    select *, row_number() over () as cell
    from cells
),
-- one row a group and cell, or a group and job that stays apart
logged as (
    select distinct
        /* groups: */ p.step as step, /* :groups */
        c.day as followed_days, c.until_then, c.apart,
        case when c.apart is null then c.cell end as cell,
        case when c.apart is null then c.turns else 1 end as jobs
    from numbered as c
    join record_steps as p on p.record = c.record
    where /* filters: */ true /* :filters */
)
select
    /* names: */ step, /* :names */
    cast(followed_days as bigint) as day, until_then as outcome, cast(sum(jobs) as bigint) as jobs
from logged
group by all
order by all
