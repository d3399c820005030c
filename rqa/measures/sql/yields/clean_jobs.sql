-- Jobs that went through clean, from the kept counts.
-- A row is one group. jobs: with a checked first attempt or a first diagnostic run; clean: all of these passed.
-- Parameters: none. Not counted: jobs with neither. A month of null: logs without a job in the store.
-- Grouped by: month, job of c.
select
    /* groups: */ c.model as model, /* :groups */
    cast(coalesce(sum(c.jobs), 0) as bigint) as jobs,
    cast(coalesce(sum(c.clean), 0) as bigint) as clean
from clean_counts as c
where /* filters: */ true /* :filters */
group by all order by all
