-- Defects at first attempts, with the units and the chances to make one.
-- A row is one group. jobs: with a checked first attempt (passed or failed) in the group; exposures: their checked first
-- attempts; failed: of these failed; opportunities: those of the checked steps, as their procedure declares them (the
-- mean, rounded up, where it has the step several times with unlike numbers); undeclared: checked first attempts at steps
-- that the job's procedure does not declare, with one chance each.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts, attempts without a check. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    cast(count(distinct s.job_id) as bigint) as jobs,
    cast(count(*) as bigint) as exposures,
    cast(count(*) filter (where s.outcome = 'fail') as bigint) as failed,
    cast(coalesce(sum(coalesce(s.opportunities, 1)), 0) as bigint) as opportunities,
    cast(count(*) filter (where s.phase is null) as bigint) as undeclared
from attempts_until($as_of) as s
where s.attempt = 1 and s.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
group by all
order by all
