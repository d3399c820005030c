-- Failed checks at steps one by one, with what was logged next.
-- A row is one failed attempt, first or later, as in failed_attempts. first: it was the first attempt; way and to_step as there.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: attempts that did not fail. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'; fault
--   of s or 'unknown'.
select
    /* groups: */ s.model as model, /* :groups */
    s.job_id, cast(s.step_seq as bigint) as step_seq, s.step as at_step, cast(s.attempt as bigint) as attempt,
    s.fault as fault_code, s.day, s.bench as at_bench, s.technician as done_by, s.way, s.to_step, s.attempt = 1 as first
from failed_attempts as s
where coalesce(s.day <= $as_of, true) and /* filters: */ true /* :filters */
order by all
