-- First attempts at steps by outcome, from the rows.
-- A row is one group. exposures = passed + failed; unchecked = done without a check, or skipped.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool of s or 'unknown'; phase of p or
--   'unknown'.
with
-- one row a group and outcome: one plain count is far cheaper than four conditional ones
outcomes as (
    select
        /* groups: */ s.step as step, /* :groups */
        s.outcome as outcome,
        count(*) as attempts
    from attempts_until($as_of) as s
    /* if phase: */ left join declared_steps as p on p.procedure = s.procedure and p.step = s.step /* :if phase */
    where s.attempt = 1 and /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ step, /* :names */
    cast(coalesce(sum(attempts) filter (where outcome in ('pass', 'fail')), 0) as bigint) as exposures,
    cast(coalesce(sum(attempts) filter (where outcome = 'pass'), 0) as bigint) as passed,
    cast(coalesce(sum(attempts) filter (where outcome = 'fail'), 0) as bigint) as failed,
    cast(coalesce(sum(attempts) filter (where outcome in ('done', 'skipped')), 0) as bigint) as unchecked
from outcomes
group by all
order by all
