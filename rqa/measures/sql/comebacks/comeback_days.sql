-- On which days units came back, from the kept counts.
-- A row is one group and day; returned counts the come-backs opened that day, within $window days of the closing of their
-- index job.
-- Parameters: $window days, $as_of date, $disposition of the index jobs. Later days are left out.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month of day c.closed_on + cast(c.elapsed_days as integer); job of c.
select
    /* groups: */ c.model as model, /* :groups */
    cast(c.closed_on + cast(c.elapsed_days as integer) as date) as opened_on,
    cast(sum(c.jobs) as bigint) as returned
from comeback_counts as c
where c.disposition = $disposition and c.elapsed_days <= $window
  and c.closed_on + cast(c.elapsed_days as integer) <= $as_of and /* filters: */ true /* :filters */
group by all order by all
