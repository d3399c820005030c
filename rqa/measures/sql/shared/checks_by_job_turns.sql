-- First checks of steps, job by job, from turns of work: how much a job's checks go together.
-- A row is one group, as in checks_by_job.sql.
-- Parameters: $as_of date: what is dated later is left out. Not counted: as in checks_by_job.sql.
-- Grouped by: month, week of day t.day; job, bench of t or 'unknown'; step of r; tool, phase of r or 'unknown'.
with
-- one row a record and group of turns that have it; turns of jobs with several stand apart, job by job
alike as (
    select
        /* groups of t: */ coalesce(t.site, 'unknown') as site, /* :groups of t */
        t.record, case when t.turns > 1 then t.job_id end as apart, count(*) as turns
    from job_turns as t
    where t.record is not null and coalesce(t.day <= $as_of, true) and /* filters of t: */ true /* :filters of t */
    group by all
),
-- one row a record and group of its first checks
checked as (
    select
        /* groups of r: */ r.step as step, /* :groups of r */
        r.record, sum(r.attempts) as checks, coalesce(sum(r.attempts) filter (where r.outcome = 'fail'), 0) as failed
    from record_steps as r
    where r.attempt = 1 and r.outcome in ('pass', 'fail') and /* filters of r: */ true /* :filters of r */
    group by all
),
-- one row a group, and number of jobs with as many checks, or job of several turns
jobs_checked as (
    select
        /* names: */ site, step, /* :names */
        a.turns as jobs, l.checks, l.failed
    from alike as a
    join checked as l on l.record = a.record
    where a.apart is null
    union all
    select
        /* names: */ site, step, /* :names */
        1, sum(a.turns * l.checks), sum(a.turns * l.failed)
    from alike as a
    join checked as l on l.record = a.record
    where a.apart is not null
    group by /* names: */ site, step, /* :names */ a.apart
)
select
    /* names: */ site, step, /* :names */
    cast(coalesce(sum(jobs), 0) as bigint) as jobs,
    cast(coalesce(sum(jobs * checks), 0) as bigint) as checks, cast(coalesce(sum(jobs * failed), 0) as bigint) as failed,
    cast(coalesce(sum(jobs * checks * checks), 0) as bigint) as checks_squared,
    cast(coalesce(sum(jobs * checks * failed), 0) as bigint) as checks_by_failed,
    cast(coalesce(sum(jobs * failed * failed), 0) as bigint) as failed_squared
from jobs_checked
group by all order by all
