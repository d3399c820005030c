-- Come-backs of index jobs by what their diagnostics name: test, station.
-- A row is one group and class of come-back (null: none seen); a job counts once in each group its diagnostics name, so
-- groups overlap and do not add up. Counts as in comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without diagnostics.
with
-- one row an index job and group
named as (
    select distinct
        l.job_id, l.closed_on, l.elapsed_days, l.class,
        /* groups: */ d.test as test, /* :groups */
    from links as l
    join diagnostics as d on d.job_id = l.job_id
    where l.disposition = $disposition and l.closed_on <= $as_of and /* filters: */ true /* :filters */
)
select
    /* names: */ test, /* :names */
    class,
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where date_diff('day', closed_on, $as_of) >= $window) as bigint) as matured,
    cast(count(*) filter (
        where date_diff('day', closed_on, $as_of) >= $window and elapsed_days <= $window
    ) as bigint) as returned
from named
group by all
order by all
