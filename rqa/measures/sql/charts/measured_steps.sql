-- Values measured at first attempts at steps, as counts by value.
-- A row is one group and value; readings counts the attempts that have it.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: later attempts, skipped ones, attempts without a value. A month of null: neither the step nor its job has a
-- date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    s.value,
    cast(count(*) as bigint) as readings
from attempts_until($as_of) as s
where s.attempt = 1 and s.outcome <> 'skipped' and s.value is not null and /* filters: */ true /* :filters */
group by all order by all
