-- Index jobs up to a day, and whether they have matured and come back.
-- A row is one link whose job has the disposition asked for and was closed by the day. matured: closed window_days or more
-- before it; returned: matured, and its return opened within window_days of closing.
-- Parameters: as_of date, jobs closed later are left out; window_days; index_disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
create or replace macro index_jobs(as_of, window_days, index_disposition) as table
select
    *,
    date_diff('day', closed_on, as_of) >= window_days as matured,
    coalesce(date_diff('day', closed_on, as_of) >= window_days and elapsed_days <= window_days, false) as returned
from links
where disposition = index_disposition and closed_on <= as_of
