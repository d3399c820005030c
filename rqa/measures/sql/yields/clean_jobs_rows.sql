-- Jobs that went through clean, from the rows.
-- A row is one group. jobs: with a checked first attempt or a first diagnostic run; clean: all of these passed.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs with neither. A month of null: logs without a job in the store.
-- Grouped by: month, week of day coalesce(j.closed_on, j.opened_on); job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where c.clean) as bigint) as clean
from clean_checks as c left join jobs as j on j.job_id = c.job_id
where coalesce(coalesce(j.closed_on, j.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
