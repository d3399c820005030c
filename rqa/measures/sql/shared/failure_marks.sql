-- Marks of what went wrong with jobs, up to their return.
-- A row is one job, kind and value: kind 'step' (an attempt at it failed), 'fault' (code of a failed attempt), 'test' (its
-- first run failed), 'found' (subsystem found at the return of a repaired, matured job within window_days; 'nothing' where
-- the return found no fault, null where nobody wrote it down). mark: kind and value ('unknown' for null) with chr(30)
-- between them.
-- Parameters: as_of date; window_days. Not counted: later runs than the first.
create or replace macro failure_marks(as_of, window_days) as table
select job_id, kind, value, kind || chr(30) || coalesce(value, 'unknown') as mark
from (
    select job_id, 'step' as kind, step as value
    from failed_attempts
    union
    select job_id, 'fault', fault
    from failed_attempts
    where fault is not null
    union
    select job_id, 'test', test
    from unclean_tests
    where first_outcome = 'fail'
    union
    select job_id, 'found', case when class = 'no_fault_found' then 'nothing' else return_found end
    from comeback_jobs(as_of, window_days, 'repaired')
) as marks
