-- Matured index jobs: those that can be followed for a whole window. The rule itself is the column matured of index_jobs.
-- A row is one index job, as in index_jobs, closed window_days or more before the day; returned: within window_days.
-- Parameters: as_of date; window_days; index_disposition of the index jobs.
-- Not counted: jobs closed less than window_days before the day, and what keep_links.sql leaves out.
create or replace macro matured_jobs(as_of, window_days, index_disposition) as table
select *
from index_jobs(as_of, window_days, index_disposition)
where matured
