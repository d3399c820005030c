-- Come-backs of index jobs by what their diagnostics name: test, station.
-- A row is one group and class of come-back (null: none seen); a job counts once in each group its diagnostics name, so
-- groups overlap and do not add up. Counts as in comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without diagnostics.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of d; station of d or
--   'unknown'.
with
-- one row an index job and group
tested as (
    select distinct
        l.job_id, l.class, l.matured, l.returned,
        /* groups: */ d.test as test, /* :groups */
    from index_jobs($as_of, $window, $disposition) as l
    join diagnostics as d on d.job_id = l.job_id
    where /* filters: */ true /* :filters */
)
select
    /* names: */ test, /* :names */
    class, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where matured) as bigint) as matured, cast(count(*) filter (where returned) as bigint) as returned
from tested
group by all order by all
