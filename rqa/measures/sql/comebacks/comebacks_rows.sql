-- Come-backs of index jobs, from the links themselves: the second way to what comebacks.sql counts.
-- A row is one group and class of come-back (null: none seen). jobs: index jobs closed up to $as_of; matured: those closed
-- at least $window days before it; returned: the matured ones whose return was opened within $window days of closing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A group's denominator is the sum over its classes.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
select
    /* groups: */ l.closed_month as month, l.model as model, /* :groups */
    l.class as class, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where l.matured) as bigint) as matured,
    cast(count(*) filter (where l.returned) as bigint) as returned
from index_jobs($as_of, $window, $disposition) as l
where /* filters: */ true /* :filters */
group by all order by all
