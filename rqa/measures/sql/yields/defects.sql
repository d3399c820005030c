-- Defects at first attempts, with the units and the chances to make one.
-- A row is one group. jobs: with a checked first attempt (passed or failed) in the group; exposures: their checked first
-- attempts; failed: of these failed; opportunities: those of the checked steps, as their procedure declares them (the
-- mean, rounded up, where it has the step several times with unlike numbers); undeclared: checked first attempts at steps
-- that the job's procedure does not declare, with one chance each.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts, attempts without a check. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'; phase of p or
--   'unknown'.
with
-- one row a job and group
units as (
    select
        /* groups: */ s.step as step, /* :groups */
        s.job_id as job_id,
        count(*) as exposures,
        count(*) filter (where s.outcome = 'fail') as failed,
        sum(coalesce(p.opportunities, 1)) as opportunities,
        count(*) filter (where p.step is null) as undeclared
    from attempts_until($as_of) as s
    left join declared_steps as p on p.procedure = s.procedure and p.step = s.step
    where s.attempt = 1 and s.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ step, /* :names */
    cast(count(*) as bigint) as jobs,
    cast(coalesce(sum(exposures), 0) as bigint) as exposures,
    cast(coalesce(sum(failed), 0) as bigint) as failed,
    cast(coalesce(sum(opportunities), 0) as bigint) as opportunities,
    cast(coalesce(sum(undeclared), 0) as bigint) as undeclared
from units
group by all
order by all
