-- When the work of each job ended, by its step log.
-- A row is one job: job_id, worked_until (the end of its last step attempt).
-- Parameters: as_of date, attempts dated later are left out. Not counted: skipped steps, attempts without a time.
create or replace macro work_ended(as_of) as table
select job_id, max(coalesce(ended_at, started_at)) as worked_until
from steps
where outcome <> 'skipped' and coalesce(ended_at, started_at) is not null and coalesce(done_on <= as_of, true)
group by job_id
