-- Attempts at steps, first and later ones, with the time logged on them.
-- A row is one group. executed: first attempts; reworked: second attempts, which is how many of the steps were done again;
-- attempts: all; max_attempts: the highest number of attempts at one step; timed, seconds: attempts with a start and an
-- end, and the time between; later_timed, later_seconds: the same of attempts beyond the first.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: skipped steps. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
-- Merged: greatest of max_attempts; the others as read.
select
    /* groups: */ s.step as step, /* :groups */
    cast(count(*) filter (where s.attempt = 1) as bigint) as executed,
    cast(count(*) filter (where s.attempt = 2) as bigint) as reworked,
    cast(count(*) as bigint) as attempts,
    cast(coalesce(max(s.attempt), 0) as bigint) as max_attempts,
    cast(count(*) filter (where s.ended_at >= s.started_at) as bigint) as timed,
    cast(coalesce(sum(date_diff('second', s.started_at, s.ended_at)), 0) as bigint) as seconds,
    cast(count(*) filter (where s.attempt > 1 and s.ended_at >= s.started_at) as bigint) as later_timed,
    cast(coalesce(sum(date_diff('second', s.started_at, s.ended_at)) filter (where s.attempt > 1), 0) as bigint)
        as later_seconds
from attempts_until($as_of) as s
where s.outcome <> 'skipped' and /* filters: */ true /* :filters */
group by all order by all
