-- First attempts at steps by outcome, from the rows.
-- A row is one group and outcome; attempts counts the first attempts.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    s.outcome, cast(count(*) as bigint) as attempts
from attempts_until($as_of) as s
where s.attempt = 1 and /* filters: */ true /* :filters */
group by all order by all
