-- Index jobs by the day they were closed and the days until they came back, from the kept counts.
-- A row is one group, closing day and number of days until the return (null: none within $window days); jobs counts them.
-- Returns opened after $as_of are in it: who looks from an earlier day leaves them out.
-- Parameters: $window days, $as_of date up to which jobs were closed, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month, week of day c.closed_on; job of c.
select
    /* groups: */ c.model as model, /* :groups */
    c.closed_on,
    cast(case when c.elapsed_days <= $window then c.elapsed_days end as bigint) as elapsed_days,
    cast(sum(c.jobs) as bigint) as jobs
from comeback_counts as c
where c.disposition = $disposition and c.closed_on <= $as_of and /* filters: */ true /* :filters */
group by all order by all
