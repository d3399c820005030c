-- Jobs that can be seen to be clean or not, one by one.
-- A row is one job, as in clean_checks; clean: all its first checks and first runs passed; unclean: one did not.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs with neither. A month of null: logs without a job in the store.
-- Grouped by: month, week of day coalesce(j.closed_on, j.opened_on); job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    c.job_id, c.clean, not c.clean as unclean
from clean_checks as c left join jobs as j on j.job_id = c.job_id
where coalesce(coalesce(j.closed_on, j.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
order by all
