-- First attempts at steps by outcome, from the rows.
-- A row is one group. exposures = passed + failed; unchecked = done without a check, or skipped.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
with
-- one row a procedure and step: the phase of its first place in the procedure
phases as (
    select procedure, step, min_by(phase, step_seq) as phase
    from procedures
    group by procedure, step
),
-- one row a group and outcome: one plain count is far cheaper than four conditional ones
outcomes as (
    select
        /* groups: */ s.step as step, /* :groups */
        s.outcome as outcome,
        count(*) as attempts
    from steps as s
    left join jobs as j on j.job_id = s.job_id
    /* if phase: */ left join phases as p on p.procedure = j.procedure and p.step = s.step /* :if phase */
    where s.attempt = 1
      and coalesce(coalesce(s.done_on, j.closed_on, j.opened_on) <= $as_of, true)
      and /* filters: */ true /* :filters */
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
