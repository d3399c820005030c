-- First checks, job by job: how much a job's checks go together is told by the sums of squares.
-- A row is one group. jobs: those with a first check in the group; checks: first attempts at steps, or first runs of
-- diagnostics, that passed or failed; failed; sums over the jobs of the squares and products of their checks and failures:
-- checks_squared, checks_by_failed, failed_squared.
-- Parameters: $as_of date: what is dated later is left out; $log: 'steps' or 'diagnostics'.
-- Not counted: later attempts and runs, steps done without a check or skipped, aborted runs.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step, test of s; bench, tool, station of s or 'unknown';
--   phase of p or 'unknown'.
with
-- one row a group and job
jobs_checked as (
    select
        /* groups: */ s.site as site, /* :groups */
        s.job_id, count(*) as checks, count(*) filter (where s.failed) as failed
    from first_checks($as_of, $log) as s
    left join declared_steps as p on p.procedure = s.procedure and p.step = s.step
    where /* filters: */ true /* :filters */
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
group by all order by all
