-- Measured values with which tests of jobs passed from the first run on, by month and by day of closing.
-- A row is one closing day, or month (whole_month) by its first day, with disposition, test, unit and value, the last one
-- measured; jobs counts index jobs.
-- Not counted: aborted runs, those without a value; jobs of which the last run of any test did not pass. Reads job_logs,
-- unclean_tests, decided_values.
with
-- one row a test of an index job and unit
passed as (
    select l.closed_on, l.disposition, d.test, d.unit, d.value
    from diagnostics as d
    join job_logs as l on l.job_id = d.job_id
    left join unclean_tests as u on u.job_id = d.job_id and u.test = d.test
    where u.job_id is null and d.value is not null and l.linked and not (l.failed or l.aborted)
    union all
    select v.closed_on, v.disposition, v.test, v.unit, v.value
    from decided_values as v
    join unclean_tests as u on u.job_id = v.job_id and u.test = v.test
    where not v.failed_first
),
-- one row a closing day and value
by_day as (
    select closed_on, disposition, test, unit, value, count(*) as jobs
    from passed
    group by all
)
select false as whole_month, closed_on, disposition, test, unit, value, cast(jobs as bigint) as jobs
from by_day
union all
select true, cast(date_trunc('month', closed_on) as date), disposition, test, unit, value, cast(sum(jobs) as bigint)
from by_day
group by all order by all
