-- Checked first attempts one by one, up to the first of each job that failed, as bursts of failed checks count them.
-- A row is one first attempt that passed or failed; failed: it failed. Of a job, none after its first failed one.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: as in bursts_checks.sql. An attempt stands once under each lot fitted in its job, where lots are asked for.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'; part_no, lot of f.
with
-- one row a job and what is asked of the lots fitted in it
fitted as (select distinct job_id /* if part_no: */ , part_no /* :if part_no */ /* if lot: */ , lot /* :if lot */ from fitted_lots)
select
    /* groups: */ s.model as model, /* :groups */
    s.job_id, cast(s.step_seq as bigint) as step_seq, s.step as at_step, s.outcome, s.fault as fault_code, s.day,
    s.bench as at_bench, s.technician as done_by, s.outcome = 'fail' as failed
from attempts_until($as_of) as s
join marked_attempts as m on m.job_id = s.job_id and m.step_seq = s.step_seq and m.attempt = s.attempt
/* if part_no or lot: */ join fitted as f on f.job_id = s.job_id /* :if part_no or lot */
where m.up_to_failure and s.day is not null and s.job_id in (select job_id from jobs) and /* filters: */ true /* :filters */
order by all
