-- Jobs that went through clean, from the rows.
-- A row is one group. jobs: with a checked first attempt or a first diagnostic run; clean: all of these passed.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs with neither. A month of null: logs without a job in the store.
with
-- one row a job with checked steps
step_checks as (
    select job_id, max(case when outcome = 'fail' then 1 else 0 end) as fault
    from steps
    where attempt = 1 and outcome in ('pass', 'fail')
    group by job_id
),
-- one row a job with diagnostics; an aborted first run did not pass
test_checks as (
    select job_id, max(case when outcome <> 'pass' then 1 else 0 end) as fault
    from diagnostics
    where run = 1
    group by job_id
),
-- one row a job with either
checked as (
    select
        coalesce(s.job_id, t.job_id) as job_id,
        coalesce(s.fault, 0) + coalesce(t.fault, 0) as faults
    from step_checks as s
    full join test_checks as t on t.job_id = s.job_id
)
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where c.faults = 0) as bigint) as clean
from checked as c
left join jobs as j on j.job_id = c.job_id
where coalesce(coalesce(j.closed_on, j.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
group by all
order by all
