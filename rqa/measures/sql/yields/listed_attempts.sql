-- Attempts at steps one by one, as the questions about first passes and rework count them.
-- A row is one attempt, as in attempts_until. exposure: a first attempt that passed or failed; passed and failed: of these;
-- unchecked: a first attempt that was done without a check, or skipped; skipped: of these; first_attempt: it is one; failure: it failed, first_failure: and was the first
-- attempt; executed: a first attempt that was not skipped, reworked: a second one, worked: any that was not skipped, later:
-- any of these beyond the first, later_timed: one of these with a start and an end, first_timed: such a first attempt;
-- measured: a first attempt that was not skipped, with a value.
-- Where parts or lots are asked for, an attempt stands once under each part and lot that its job had fitted.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: where parts or lots are asked for, jobs without a part. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase, fault of s or 'unknown';
--   part_no of f; lot of f or 'unknown'.
with
-- one row a job and what is asked of the part and lot fitted in it
fitted as (select distinct job_id /* if part_no: */ , part_no /* :if part_no */ /* if lot: */ , lot /* :if lot */ from parts)
select
    /* groups: */ s.model as model, /* :groups */
    s.job_id, cast(s.step_seq as bigint) as step_seq, s.step as at_step, cast(s.attempt as bigint) as attempt, s.outcome,
    s.fault as fault_code, s.day, s.bench as at_bench, s.technician as done_by, s.value,
    s.attempt = 1 and s.outcome in ('pass', 'fail') as exposure,
    s.attempt = 1 and s.outcome = 'pass' as passed,
    s.attempt = 1 and s.outcome = 'fail' as failed,
    s.attempt = 1 and s.outcome not in ('pass', 'fail') as unchecked,
    s.attempt = 1 and s.outcome = 'skipped' as skipped,
    s.attempt = 1 as first_attempt,
    s.attempt = 1 and s.outcome <> 'skipped' and s.value is not null as measured,
    s.outcome = 'fail' as failure,
    s.attempt = 1 and s.outcome = 'fail' as first_failure,
    s.attempt = 1 and s.outcome <> 'skipped' as executed,
    s.attempt = 2 and s.outcome <> 'skipped' as reworked,
    s.outcome <> 'skipped' as worked,
    s.attempt > 1 and s.outcome <> 'skipped' as later,
    coalesce(s.attempt = 1 and s.outcome <> 'skipped' and s.ended_at >= s.started_at, false) as first_timed,
    coalesce(s.attempt > 1 and s.outcome <> 'skipped' and s.ended_at >= s.started_at, false) as later_timed
from attempts_until($as_of) as s
/* if part_no or lot: */ join fitted as f on f.job_id = s.job_id /* :if part_no or lot */
where /* filters: */ true /* :filters */
order by all
