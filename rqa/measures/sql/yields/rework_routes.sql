-- Where a failed check sent the job: what was logged next.
-- A row is one group, way and step that came next. way: 'again' (the same step), 'back' (an earlier one), 'on' (a later one),
-- 'ended' (nothing more was logged), 'unknown' (the failed attempt has no time); to_step: the other step that
-- came next, '' without one. failures counts failed attempts, first and later ones.
-- Parameters: $as_of date: failed attempts dated later are left out.
-- Not counted: skipped steps, neither as failed nor as next; attempts without a time come next to nothing. Order in a job: by
-- start, else end; at equal times by place in the job, then attempt.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    s.way,
    s.to_step,
    cast(count(*) as bigint) as failures
from failed_attempts as s
where coalesce(s.day <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
