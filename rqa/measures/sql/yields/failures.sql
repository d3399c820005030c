-- Failed checks at steps, by what failed.
-- A row is one group. failures: failed attempts, first and later ones; first: those of them that were first attempts.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: attempts that did not fail. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'; fault
--   of s or 'unknown'.
select
    /* groups: */ s.step as step, coalesce(s.fault, 'unknown') as fault, /* :groups */
    cast(count(*) as bigint) as failures,
    cast(count(*) filter (where s.attempt = 1) as bigint) as first
from failed_attempts as s
where coalesce(s.day <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
