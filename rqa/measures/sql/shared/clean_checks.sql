-- Jobs that can be seen to be clean or not.
-- A row is one job with a checked first attempt at a step or a first diagnostic run; clean: all of these passed.
-- Parameters: none. Not counted: later attempts and runs. An aborted first run did not pass.
create or replace view clean_checks as
with
-- one row a job with diagnostics
first_tests as (
    select job_id, max(case when outcome <> 'pass' then 1 else 0 end) as fault
    from diagnostics
    where run = 1
    group by job_id
)
select
    coalesce(s.job_id, t.job_id) as job_id,
    coalesce(s.failed, 0) + coalesce(t.fault, 0) = 0 as clean
from checked_steps as s
full join first_tests as t on t.job_id = s.job_id
