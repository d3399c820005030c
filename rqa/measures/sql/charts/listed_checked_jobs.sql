-- Jobs with checked steps, one by one.
-- A row is one job with at least one checked first attempt (passed or failed); checks: how many; failed_checks: of these.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs without a checked step, later attempts; logs without a job in the store.
-- Grouped by: month, week of day coalesce(c.closed_on, c.opened_on); job of c or 'unknown'.
select
    /* groups: */ coalesce(c.model, 'unknown') as model, /* :groups */
    c.job_id, cast(c.checks as bigint) as checks, cast(c.failed_checks as bigint) as failed_checks
from job_logs as c
where c.checks > 0 and coalesce(coalesce(c.closed_on, c.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
order by all
