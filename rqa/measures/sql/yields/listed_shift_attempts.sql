-- First attempts at steps one by one, with the shift and its hour, and the days since a training.
-- A row is one first attempt; exposure: it passed or failed; shift, shift_hour and days_since_training are as in
-- first_pass_steps_shifts.sql.
-- Parameters: $as_of date: steps dated later are left out; $rest hours; $sites and $zones, two lists of equal length: the
-- sites' time zones (UTC for a site that is not among them).
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day w.day; job of w or 'unknown'; step of w; bench, tool, phase of w or 'unknown'; shift,
--   shift_hour, days_since_training of w.
-- Merged: whole.
-- The steps: those of first_pass_steps_shifts.sql.
select
    /* groups: */ w.model as model, /* :groups */
    w.job_id, cast(w.step_seq as bigint) as step_seq, w.step as at_step, cast(w.attempt as bigint) as attempt, w.outcome,
    w.fault as fault_code, w.day, w.bench as at_bench, w.technician as done_by,
    w.outcome in ('pass', 'fail') as exposure, w.outcome = 'pass' as passed, w.outcome = 'fail' as failed,
    w.outcome not in ('pass', 'fail') as unchecked
from (
    select
        a.*, p.phase, coalesce(t.days_since_training, 'no training') as days_since_training,
        case
            when c.hour is null then 'unknown'
            when c.hour >= 4 and c.hour < 12 then 'early'
            when c.hour >= 12 and c.hour < 20 then 'late'
            else 'night'
        end as shift,
        case
            when c.hour is null then 'unknown'
            else lpad(cast(least(date_diff('second', c.begun_at, a.done_at) // 3600 + 1, 13) as varchar), 2, '0')
        end as shift_hour
    from worked as a
    left join clocked as c on c.technician = a.technician and c.stretch = a.stretch and c.site = coalesce(a.site, '')
    left join since as t on t.technician = a.technician and t.day is not distinct from a.day
    left join declared_steps as p on p.procedure = a.procedure and p.step = a.step
    where a.attempt = 1 and coalesce(a.day <= $as_of, true)
) as w
where /* filters: */ true /* :filters */
order by all
