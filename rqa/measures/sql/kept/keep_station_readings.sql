-- Values measured at first runs, as counts by value, on the work they were measured on.
-- A row is one month, station, model, procedure, test, unit and value; readings counts first runs.
-- Not counted: later runs of the same test in a job, aborted ones, runs without a value, a day, a station or a known job.
select
    cast(date_trunc('month', d.run_on) as date) as month, d.station, j.model, j.procedure, d.test, d.unit, d.value,
    cast(count(*) as bigint) as readings
from diagnostics as d
join jobs as j on j.job_id = d.job_id
where d.run = 1 and d.outcome <> 'aborted' and d.value is not null and d.station is not null and d.run_on is not null
group by all order by all
