-- First runs of diagnostics, by outcome.
-- A row is one combination; month is that of the run; technician is the job's. exposures = passed + failed.
-- Not counted: later runs. Runs whose job is not in the store count under 'unknown'.
select
    cast(date_trunc('month', d.run_on) as date) as month,
    coalesce(j.site, 'unknown') as site,
    coalesce(j.model, 'unknown') as model,
    coalesce(j.procedure, 'unknown') as procedure,
    coalesce(j.billing, 'unknown') as billing,
    coalesce(j.technician, 'unknown') as technician,
    coalesce(d.station, 'unknown') as station,
    d.test as test,
    cast(count(*) filter (where d.outcome in ('pass', 'fail')) as bigint) as exposures,
    cast(count(*) filter (where d.outcome = 'pass') as bigint) as passed,
    cast(count(*) filter (where d.outcome = 'fail') as bigint) as failed,
    cast(count(*) filter (where d.outcome = 'aborted') as bigint) as aborted
from diagnostics as d
left join jobs as j on j.job_id = d.job_id
where d.run = 1
group by all
order by month, site, model, procedure, billing, technician, station, test
