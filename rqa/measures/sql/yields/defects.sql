-- Defects at first attempts, with the units and the chances to make one.
-- A row is one group. jobs: with a checked first attempt (passed or failed) in the group; exposures: their checked first
-- attempts; failed: of these failed; opportunities: those of the checked steps, as their procedure declares them (the
-- mean, rounded up, where it has the step several times with unlike numbers); undeclared: checked first attempts at steps
-- that the job's procedure does not declare, with one chance each.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts, attempts without a check. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool, phase of p or 'unknown'.
with
-- one row a record of turns of work; those of jobs with several turns stay apart, so that each job is counted once
cells as (
    select
        /* asked: */
        cast(date_trunc('month', t.day) as date) as month,
        cast(date_trunc('week', t.day) as date) as week,
        t.site,
        t.model,
        t.procedure,
        t.technician,
        t.billing,
        t.bench,
        /* :asked */
        t.record, case when t.turns > 1 then t.job_id end as apart, count(*) as turns
    from job_turns as t
    where t.record is not null and coalesce(t.day <= $as_of, true)
    group by all
),
-- the same, numbered
numbered as (
    select *, row_number() over () as cell
    from cells
),
-- one row a group and job that stays apart, or the group's other jobs: what their turns logged; where it is not told by
-- the rows that stand for steps how many jobs these are, one row a cell
each as (
    select
        /* groups: */ p.step as step, /* :groups */
        /* unless step: */ c.cell, /* :unless step */
        /* if tool: */ c.cell as cell_of_tool, /* :if tool */
        c.apart, max(c.turns) as turns, coalesce(sum(c.turns) filter (where p.first_of_step), 0) as with_step,
        sum(c.turns * p.attempts) as exposures,
        sum(c.turns * p.attempts) filter (where p.outcome = 'fail') as failed,
        sum(c.turns * p.attempts * coalesce(p.opportunities, 1)) as chances,
        sum(c.turns * p.attempts) filter (where p.phase is null) as undeclared
    from numbered as c
    join record_steps as p on p.record = c.record
    where p.attempt = 1 and p.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
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
    cast(coalesce(sum(exposures), 0) as bigint) as exposures,
    cast(coalesce(sum(failed), 0) as bigint) as failed,
    cast(coalesce(sum(chances), 0) as bigint) as opportunities,
    cast(coalesce(sum(undeclared), 0) as bigint) as undeclared
from each
group by all
order by all
