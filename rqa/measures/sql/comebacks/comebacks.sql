-- Come-backs of index jobs, from the kept counts.
-- A row is one group and class of come-back (null: none seen). jobs: index jobs closed up to $as_of; matured: those closed
-- at least $window days before it; returned: the matured ones whose return was opened within $window days of closing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A group's denominator is the sum over its classes.
-- Grouped by: month, week of day c.closed_on; job of c.
select
    /* groups: */ cast(date_trunc('month', c.closed_on) as date) as month, c.model as model, /* :groups */
    c.class as class,
    cast(sum(c.jobs) as bigint) as jobs,
    cast(coalesce(sum(c.jobs) filter (where date_diff('day', c.closed_on, $as_of) >= $window), 0) as bigint) as matured,
    cast(coalesce(sum(c.jobs) filter (
        where date_diff('day', c.closed_on, $as_of) >= $window and c.elapsed_days <= $window
    ), 0) as bigint) as returned
from comeback_counts as c
where c.disposition = $disposition and c.closed_on <= $as_of and /* filters: */ true /* :filters */
group by all order by all
