-- Turns of work at index jobs, and whether these have matured and come back.
-- A row is one turn of an index job, as in job_turns; matured and returned: of the job, as in index_jobs; month and week
-- (first days) are those it was closed in.
-- Parameters: as_of date, jobs closed later are left out; window_days; index_disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
create or replace macro index_turns(as_of, window_days, index_disposition) as table
select
    *, cast(date_trunc('month', closed_on) as date) as month, cast(date_trunc('week', closed_on) as date) as week,
    date_diff('day', closed_on, as_of) >= window_days as matured,
    coalesce(date_diff('day', closed_on, as_of) >= window_days and elapsed_days <= window_days, false) as returned
from job_turns
where linked and disposition = index_disposition and closed_on <= as_of
