-- First runs of diagnostics by day, and those that failed.
-- A row is one test, kind of work (model, procedure) and day; jobs: first runs that passed or failed; events: those that failed.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: later runs, aborted ones, and those without a day.
with
-- one row a first run
checked as (
    select
        job_id, run_on as day, test, coalesce(model, 'unknown') as kind_model, coalesce(procedure, 'unknown') as kind_procedure,
        outcome = 'fail' as failed
    from runs_of_jobs($as_of)
    where run = 1 and outcome in ('pass', 'fail') and run_on is not null
)
select
    test, kind_model, kind_procedure, day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where failed) as bigint) as events
from checked
group by all order by all
