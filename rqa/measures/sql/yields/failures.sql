-- Failed checks at steps, by what failed.
-- A row is one group. failures: failed attempts, first and later ones; first: those of them that were first attempts.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: attempts that did not fail. A month of null: neither the step nor its job has a date.
with
-- one row a procedure and step: the phase of its first place in the procedure
phases as (
    select procedure, step, min_by(phase, step_seq) as phase
    from procedures
    group by procedure, step
)
select
    /* groups: */ s.step as step, coalesce(s.fault, 'unknown') as fault, /* :groups */
    cast(count(*) as bigint) as failures,
    cast(count(*) filter (where s.attempt = 1) as bigint) as first
from steps as s
left join jobs as j on j.job_id = s.job_id
/* if phase: */ left join phases as p on p.procedure = j.procedure and p.step = s.step /* :if phase */
where s.outcome = 'fail'
  and coalesce(coalesce(s.done_on, j.closed_on, j.opened_on) <= $as_of, true)
  and /* filters: */ true /* :filters */
group by all
order by all
