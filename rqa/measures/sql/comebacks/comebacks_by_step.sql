-- Come-backs of index jobs by what their step log names: step, bench, tool, phase.
-- A row is one group and class of come-back (null: none seen); a job counts once in each group its log names, so groups
-- overlap and do not add up. Counts as in comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; steps that were skipped are named all the same.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool, phase of p or 'unknown'.
with
-- one row a record of turns of work and what became of the jobs; jobs with several turns stay apart
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
        t.record, t.class, t.matured, t.returned, case when t.turns > 1 then t.job_id end as apart, count(*) as turns
    from index_turns($as_of, $window, $disposition) as t
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
        c.class, c.matured, c.returned, c.apart,
        case when c.apart is null then c.cell end as cell,
        case when c.apart is null then c.turns else 1 end as jobs
    from numbered as c
    join record_steps as p on p.record = c.record
    where /* filters: */ true /* :filters */
)
select
    /* names: */ step, /* :names */
    class,
    cast(sum(jobs) as bigint) as jobs,
    cast(coalesce(sum(jobs) filter (where matured), 0) as bigint) as matured,
    cast(coalesce(sum(jobs) filter (where returned), 0) as bigint) as returned
from logged
group by all
order by all
