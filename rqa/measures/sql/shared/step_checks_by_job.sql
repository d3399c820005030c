-- First checks of steps, job by job: how much a job's checks go together is told by the sums of squares.
-- A row is one group. jobs: those with a first check in the group; checks: first attempts that passed or failed; failed;
-- sums over the jobs of the squares and products of their checks and failures: checks_squared, checks_by_failed,
-- failed_squared.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts, steps done without a check or skipped.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'; phase of p or
--   'unknown'.
with
-- one row a group and job
jobs_checked as (
    select
        /* groups: */ s.site as site, /* :groups */
        s.job_id as job_id,
        count(*) as checks,
        count(*) filter (where s.outcome = 'fail') as failed
    from attempts_until($as_of) as s
    /* if phase: */ left join declared_steps as p on p.procedure = s.procedure and p.step = s.step /* :if phase */
    where s.attempt = 1 and s.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ site, /* :names */
    cast(count(*) as bigint) as jobs,
    cast(coalesce(sum(checks), 0) as bigint) as checks, cast(coalesce(sum(failed), 0) as bigint) as failed,
    cast(coalesce(sum(checks * checks), 0) as bigint) as checks_squared,
    cast(coalesce(sum(checks * failed), 0) as bigint) as checks_by_failed,
    cast(coalesce(sum(failed * failed), 0) as bigint) as failed_squared
from jobs_checked
group by all
order by all
