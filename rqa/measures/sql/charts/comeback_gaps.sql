-- How many index jobs lie between one that came back and the next, in the order of closing.
-- A row is one matured index job that came back within $window days: place is its number among the matured index jobs of
-- its group, jobs_between the jobs without a come-back since the one before it (null for the first, whose gap has no
-- beginning).
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
-- Merged: rows in matured, then the rest.
with
-- one row a matured index job
matured as (
    select
        /* groups: */ l.model as model, /* :groups */
        l.closed_on, coalesce(l.elapsed_days <= $window, false) as returned, l.closed_at, l.job_id
    from job_logs as l
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and /* filters: */ true /* :filters */
),
-- the same, numbered within its group
numbered as (
    select
        *,
        row_number() over (partition by /* names: */ model, /* :names */ 1 order by closed_at, job_id) as place
    from matured
)
select
    /* names: */ model, /* :names */
    closed_on,
    cast(place as bigint) as place,
    cast(place - 1 - lag(place) over (partition by /* names: */ model, /* :names */ 1 order by place) as bigint)
        as jobs_between
from numbered
where returned
order by all
