-- First attempts at steps by outcome, from turns of work.
-- A row is one group and outcome; attempts counts the first attempts.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day t.day; job, bench of t or 'unknown'; step of r; tool, phase of r or 'unknown'.
with
-- one row a record and group of turns that have it
alike as (
    select /* groups of t: */ coalesce(t.site, 'unknown') as site, /* :groups of t */
        t.record, count(*) as turns
    from job_turns as t
    where t.record is not null and coalesce(t.day <= $as_of, true) and /* filters of t: */ true /* :filters of t */
    group by all
),
-- one row a record, group and outcome of its first attempts
tried as (
    select /* groups of r: */ r.step as step, /* :groups of r */
        r.record, r.outcome, sum(r.attempts) as attempts
    from record_steps as r
    where r.attempt = 1 and /* filters of r: */ true /* :filters of r */
    group by all
)
select
    /* names: */ site, step, /* :names */
    l.outcome, cast(sum(a.turns * l.attempts) as bigint) as attempts
from alike as a
join tried as l on l.record = a.record
group by all order by all
