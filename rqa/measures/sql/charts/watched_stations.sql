-- First runs of diagnostics by station and day: jobs tested there, and those of which a first run failed.
-- A row is one station, kind of work (model, procedure, and how many tests were run) and day; jobs: with a first run there on
-- that day that passed or failed; events: those with one that failed.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: later runs, aborted ones, and those without a day or a station.
with
-- one row a job, station and day
checked as (
    select
        job_id, run_on as day, station, coalesce(any_value(model), 'unknown') as kind_model,
        coalesce(any_value(procedure), 'unknown') as kind_procedure, cast(count(*) as varchar) as kind_checks,
        bool_or(outcome = 'fail') as failed
    from runs_of_jobs($as_of)
    where run = 1 and outcome in ('pass', 'fail') and run_on is not null and station is not null
    group by job_id, run_on, station
)
select
    station, kind_model, kind_procedure, kind_checks, day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where failed) as bigint) as events
from checked
group by all order by all
