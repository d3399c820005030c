-- First runs of diagnostics, job by job: how much a job's runs go together is told by the sums of squares.
-- A row is one group. jobs: those with a first run in the group; checks: first runs that passed or failed; failed; sums
-- over the jobs of the squares and products of their runs and failures: checks_squared, checks_by_failed,
-- failed_squared.
-- Parameters: $as_of date: later runs are left out. Not counted: later runs of the same test in a job, aborted ones.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
with
-- one row a group and job
jobs_checked as (
    select
        /* groups: */ j.site as site, /* :groups */
        d.job_id as job_id,
        count(*) as checks,
        count(*) filter (where d.outcome = 'fail') as failed
    from first_runs($as_of) as d left join jobs as j on j.job_id = d.job_id
    where d.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
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
