-- First checks, job by job, from what is kept of each job: how much a job's checks go together.
-- A row is one group, as in checks_by_job.sql.
-- Parameters: $log: 'steps' or 'diagnostics'; nothing may be left out. Not counted: as in checks_by_job.sql.
-- Grouped by: month as s.month; job of s or 'unknown'.
with
-- one row a job of which all first checks are of one month and technician
alike as (
    select
        site, model, procedure, billing,
        case $log when 'steps' then checked_by else technician end as technician,
        case $log when 'steps' then checked_in else tested_in end as month,
        case $log when 'steps' then checks else test_checks end as checks,
        case $log when 'steps' then failed_checks else failed_tests end as failed
    from job_logs
    where case $log when 'steps' then checks > 0 and not checks_mixed else test_checks > 0 and not tests_mixed end
),
-- one row a group and job of the others
jobs_checked as (
    select
        /* groups: */ coalesce(s.site, 'unknown') as site, /* :groups */
        s.job_id, sum(s.checks) as checks, sum(s.failed) as failed
    from mixed_checks as s
    where s.log = $log and /* filters: */ true /* :filters */
    group by all
),
-- one row a group, and job or number of jobs: sums
sums_of_jobs as (
    select
        /* groups: */ coalesce(s.site, 'unknown') as site, /* :groups */
        count(*) as jobs, sum(s.checks) as checks, sum(s.failed) as failed, sum(s.checks * s.checks) as checks_squared,
        sum(s.checks * s.failed) as checks_by_failed, sum(s.failed * s.failed) as failed_squared
    from alike as s
    where /* filters: */ true /* :filters */
    group by all
    union all
    select
        /* names: */ site, /* :names */
        1, checks, failed, checks * checks, checks * failed, failed * failed
    from jobs_checked
)
select
    /* names: */ site, /* :names */
    cast(coalesce(sum(jobs), 0) as bigint) as jobs,
    cast(coalesce(sum(checks), 0) as bigint) as checks, cast(coalesce(sum(failed), 0) as bigint) as failed,
    cast(coalesce(sum(checks_squared), 0) as bigint) as checks_squared,
    cast(coalesce(sum(checks_by_failed), 0) as bigint) as checks_by_failed,
    cast(coalesce(sum(failed_squared), 0) as bigint) as failed_squared
from sums_of_jobs
group by all order by all
