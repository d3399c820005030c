-- What the jobs and their logs hold at all: so that what a statement rests on is looked up, and not looked for in the logs.
-- A row is one kind of thing (what), and where there are several of a kind its name, else '', or its month, else null. rows
-- counts the rows that have it:
-- 'jobs', 'steps', 'diagnostics': all; 'checks': attempts that passed or failed; 'step_times': attempts with a time;
-- 'test_limits': runs with a limit; 'repeat_units': units with two jobs or more that were not cancelled; 'procedure' and
-- 'test': jobs and runs by name; 'checks_of_month', 'clean_of_month': checked first attempts, and checked jobs, by month; 'steps without a job', 'runs without a job', 'parts without a job'; 'tested jobs without a row',
-- 'checked jobs without a row': jobs with a first run, or a checked first attempt, that the store does not have; 'failed checks
-- without a job': failed first attempts of these; all others: rows with that column given.
-- Not counted: a kind of which there is none. Reads step_counts, clean_counts, lost_jobs.
with
-- one row: what jobs give
of_jobs as (
    select
        count(*) as jobs, count(found) as found, count(complaint) as complaint, count(billing) as billing,
        count(labour_minutes) as labour_minutes, count(parts_cost) as parts_cost, count(freight_cost) as freight_cost,
        count(technician) as technician
    from jobs
),
-- one row: what attempts give
of_steps as (
    select
        count(*) as steps, count(technician) as technician, count(*) filter (where outcome in ('pass', 'fail')) as checks,
        count(bench) as bench, count(tool) as tool, count(coalesce(started_at, ended_at)) as step_times,
        count(fault) as fault, count(value) as step_values
    from steps
),
-- one row: what runs give
of_runs as (
    select
        count(*) as diagnostics, count(station) as station, count(value) as test_values,
        count(coalesce(lower_limit, upper_limit)) as test_limits
    from diagnostics
),
-- one row a unit with several jobs
repeat_units as (
    select unit_id from jobs where disposition <> 'cancelled' group by unit_id having count(*) > 1
),
-- one row a kind and name
held as (
    select
        unnest(['jobs', 'found', 'complaint', 'billing', 'labour_minutes', 'parts_cost', 'freight_cost', 'technician']) as what,
        '' as name, cast(null as date) as month,
        unnest([jobs, found, complaint, billing, labour_minutes, parts_cost, freight_cost, technician]) as rows
    from of_jobs
    union all
    select
        unnest(['steps', 'technician', 'checks', 'bench', 'tool', 'step_times', 'fault', 'step_values']),
        '', null,
        unnest([steps, technician, checks, bench, tool, step_times, fault, step_values])
    from of_steps
    union all
    select
        unnest(['diagnostics', 'station', 'test_values', 'test_limits']),
        '', null,
        unnest([diagnostics, station, test_values, test_limits])
    from of_runs
    union all
    select 'repeat_units', '', null, count(*) from repeat_units
    union all
    select 'procedure', procedure, null, count(*) from jobs group by procedure
    union all
    select 'test', test, null, count(*) from diagnostics group by test
    union all
    select 'checks_of_month', '', month, sum(exposures) from step_counts where month is not null group by month
    union all
    select 'clean_of_month', '', month, sum(jobs) from clean_counts where month is not null group by month
    union all
    select 'steps without a job', '', null, count(*) from steps where job_id in (select job_id from lost_jobs)
    union all
    select 'runs without a job', '', null, count(*) from diagnostics where job_id in (select job_id from lost_jobs)
    union all
    select 'checked jobs without a row', '', null, count(distinct job_id)
    from steps
    where attempt = 1 and outcome in ('pass', 'fail') and job_id in (select job_id from lost_jobs)
    union all
    select 'failed checks without a job', '', null, count(*)
    from steps
    where attempt = 1 and outcome = 'fail' and job_id in (select job_id from lost_jobs)
    union all
    select 'parts without a job', '', null, count(*) from parts where job_id in (select job_id from lost_jobs)
    union all
    select 'tested jobs without a row', '', null, count(distinct job_id)
    from diagnostics
    where run = 1 and job_id in (select job_id from lost_jobs)
)
select what, name, month, cast(sum(rows) as bigint) as rows
from held
group by what, name, month
having sum(rows) > 0
order by what, name, month
