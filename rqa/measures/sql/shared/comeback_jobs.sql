-- Come-backs: matured index jobs that came back within the window, and what was found then.
-- A row is one matured index job that came back; return_complaint: what the customer named this time; return_found: what
-- the job that came back found, whatever the class; fault_found: the subsystem found at fault, null where the return found
-- no fault or nobody wrote it down.
-- Parameters: as_of date; window_days; index_disposition of the index jobs.
-- Not counted: what matured_jobs leaves out, and jobs that did not come back within window_days.
create or replace macro comeback_jobs(as_of, window_days, index_disposition) as table
select
    l.*, b.complaint as return_complaint, b.found as return_found,
    case when l.class in ('repeat', 'workmanship', 'new_fault') then b.found end as fault_found
from matured_jobs(as_of, window_days, index_disposition) as l
join jobs as b on b.job_id = l.return_job_id
where l.returned
