-- Matured index jobs one by one, for charts that watch every job.
-- A row is one matured index job in the order of closing: place numbers them over all groups; returned is 1 if it came back
-- within $window days, else 0.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
-- Merged: rows in matured, then the rest.
with
-- one row a matured index job
matured as (
    select
        /* groups: */ l.model as model, /* :groups */
        l.closed_on, l.closed_at, l.job_id, coalesce(l.elapsed_days <= $window, false) as returned
    from job_logs as l
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and /* filters: */ true /* :filters */
)
select
    /* names: */ model, /* :names */
    closed_on, cast(row_number() over (order by closed_at, job_id) as bigint) as place, cast(returned as bigint) as returned
from matured
order by place
