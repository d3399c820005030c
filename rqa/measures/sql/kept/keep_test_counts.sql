-- First runs of diagnostics, by outcome.
-- A row is one combination; month is that of the run; technician is the job's. exposures = passed + failed.
-- Not counted: later runs. Runs whose job is not in the store count under 'unknown'.
with
-- one row a month, kind, technician, station and test
cells as (
    select
        cast(date_trunc('month', d.run_on) as date) as month,
        coalesce(j.kind, 0) as kind,
        coalesce(j.technician, 'unknown') as technician,
        coalesce(d.station, 'unknown') as station,
        d.test,
        cast(count(*) filter (where d.outcome in ('pass', 'fail')) as bigint) as exposures,
        cast(count(*) filter (where d.outcome = 'pass') as bigint) as passed,
        cast(count(*) filter (where d.outcome = 'fail') as bigint) as failed,
        cast(count(*) filter (where d.outcome = 'aborted') as bigint) as aborted
    from diagnostics as d
    left join job_kinds as j on j.job_id = d.job_id
    where d.run = 1
    group by all
)
select
    c.month, k.site, k.model, k.procedure, k.billing, c.technician, c.station, c.test, c.exposures, c.passed, c.failed, c.aborted
from cells as c
join kinds_of_work as k on k.kind = c.kind
order by c.month, c.kind, c.technician, c.station, c.test
