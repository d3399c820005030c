-- Matured index jobs whose unit left service within the window without coming back, from the kept counts: a rate takes them as
-- not come back.
-- A row is one group. matured: index jobs closed $window days or more before $as_of; returned: those of them whose return
-- was opened within $window days of closing; left_service: those without such a return whose unit is known to have left
-- service less than $window days after closing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A retirement before the closing, or before a return that was seen, is
-- contradicted by it and counts as none.
-- Grouped by: month, week of day l.closed_on; job of l.
with
-- one row a combination of the kept counts, and an index job whose unit left service: the latter is counted in the former
matured_work as (
    select closed_on, site, model, procedure, technician, billing, elapsed_days, jobs, false as is_left
    from comeback_counts
    where disposition = $disposition and date_diff('day', closed_on, $as_of) >= $window
    union all
    select
        closed_on, coalesce(site, 'unknown'), coalesce(model, 'unknown'), coalesce(procedure, 'unknown'),
        coalesce(technician, 'unknown'), coalesce(billing, 'unknown'), null, 0, true
    from retired_jobs
    where disposition = $disposition and date_diff('day', closed_on, $as_of) >= $window and retired_on <= $as_of
      and coalesce(elapsed_days > date_diff('day', closed_on, $as_of), true)
      and date_diff('day', closed_on, retired_on) < $window
)
select
    /* groups: */ l.model as model, /* :groups */
    cast(coalesce(sum(l.jobs), 0) as bigint) as matured,
    cast(coalesce(sum(l.jobs) filter (where l.elapsed_days <= $window), 0) as bigint) as returned,
    cast(count(*) filter (where l.is_left) as bigint) as left_service
from matured_work as l
where /* filters: */ true /* :filters */
group by all order by all
