-- Matured index jobs one by one, for charts that watch every job.
-- A row is one matured index job in the order of closing: place numbers them over all groups; returned is 1 if it came back
-- within $window days, else 0.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
select
    /* groups: */ l.model as model, /* :groups */
    l.closed_on,
    cast(row_number() over (order by j.closed_at, l.job_id) as bigint) as place,
    cast(l.returned as bigint) as returned
from matured_jobs($as_of, $window, $disposition) as l join jobs as j on j.job_id = l.job_id
where /* filters: */ true /* :filters */
order by place
