-- First checks of steps by day: turns of work at a job that checked a step, and those in which a first attempt failed.
-- A row is one step, kind of work (model, procedure) and day; jobs: turns with a checked first attempt at the step; events:
-- those with one that failed.
-- Parameters: $as_of date: turns dated later are left out.
-- Not counted: later attempts, steps without a check, and turns without a day.
with
-- one row a record and step with a checked first attempt
first_attempts as (
    select record, step, bool_or(outcome = 'fail') as failed
    from record_steps
    where attempt = 1 and outcome in ('pass', 'fail')
    group by record, step
),
-- one row a turn and step that it checked
checked as (
    select
        t.job_id, t.turn, t.day, c.step, coalesce(t.model, 'unknown') as kind_model, coalesce(t.procedure, 'unknown') as kind_procedure,
        c.failed
    from job_turns as t
    join first_attempts as c on c.record = t.record
    where t.day <= $as_of
)
select
    step, kind_model, kind_procedure, day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where failed) as bigint) as events
from checked
group by all order by all
