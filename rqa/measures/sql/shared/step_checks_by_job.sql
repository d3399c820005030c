-- First checks of steps, job by job: how much a job's checks go together is told by the sums of squares.
-- A row is one group. jobs: those with a first check in the group; checks: first attempts that passed or failed; failed;
-- sums over the jobs of the squares and products of their checks and failures: checks_squared, checks_by_failed,
-- failed_squared.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts, steps done without a check or skipped.
with
-- one row a procedure and step: the phase of its first place in the procedure
phases as (
    select procedure, step, min_by(phase, step_seq) as phase
    from procedures
    group by procedure, step
),
-- one row a group and job
jobs_checked as (
    select
        /* groups: */ j.site as site, /* :groups */
        s.job_id as job_id,
        count(*) as checks,
        count(*) filter (where s.outcome = 'fail') as failed
    from steps as s
    left join jobs as j on j.job_id = s.job_id
    /* if phase: */ left join phases as p on p.procedure = j.procedure and p.step = s.step /* :if phase */
    where s.attempt = 1 and s.outcome in ('pass', 'fail')
      and coalesce(coalesce(s.done_on, j.closed_on, j.opened_on) <= $as_of, true)
      and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ site, /* :names */
    cast(count(*) as bigint) as jobs,
    cast(coalesce(sum(checks), 0) as bigint) as checks,
    cast(coalesce(sum(failed), 0) as bigint) as failed,
    cast(coalesce(sum(checks * checks), 0) as bigint) as checks_squared,
    cast(coalesce(sum(checks * failed), 0) as bigint) as checks_by_failed,
    cast(coalesce(sum(failed * failed), 0) as bigint) as failed_squared
from jobs_checked
group by all
order by all
