-- First checks at benches by day: turns of work with a check, and those in which a first attempt failed.
-- A row is one bench, kind of work (model, procedure, and how many steps were checked) and day; jobs: turns with a checked first
-- attempt; events: those with one that failed.
-- Parameters: $as_of date: turns dated later are left out.
-- Not counted: later attempts, steps without a check, and turns without a day or a bench.
with
-- one row a record with a checked first attempt
first_attempts as (
    select record, bool_or(outcome = 'fail') as failed, sum(attempts) as checks
    from record_steps
    where attempt = 1 and outcome in ('pass', 'fail')
    group by record
),
-- one row a turn that checked a step
checked as (
    select
        t.job_id, t.turn, t.day, t.bench, coalesce(t.model, 'unknown') as kind_model, coalesce(t.procedure, 'unknown') as kind_procedure,
        cast(c.checks as varchar) as kind_checks, c.failed
    from job_turns as t
    join first_attempts as c on c.record = t.record
    where t.day <= $as_of and t.bench is not null
)
select
    bench, kind_model, kind_procedure, kind_checks, day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where failed) as bigint) as events
from checked
group by all order by all
