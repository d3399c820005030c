-- Jobs with checked first attempts at steps.
-- A row is one job with a first attempt that passed or failed: failed counts those that failed.
-- Parameters: none. Not counted: later attempts, steps without a check.
create or replace view checked_steps as
select job_id, cast(count(*) filter (where outcome = 'fail') as bigint) as failed
from steps
where attempt = 1 and outcome in ('pass', 'fail')
group by job_id
