-- Minutes that first attempts at steps took, as counts by value.
-- A row is one group and value, to a hundredth of a minute; readings counts the attempts that have it.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: later attempts, skipped ones, attempts without a start and an end, or that end before they start. A month of
-- null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    round(date_diff('second', s.started_at, s.ended_at) / 60, 2) as value,
    cast(count(*) as bigint) as readings
from attempts_until($as_of) as s
where s.attempt = 1 and s.outcome <> 'skipped' and s.ended_at >= s.started_at and /* filters: */ true /* :filters */
group by all order by all
