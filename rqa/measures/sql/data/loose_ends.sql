-- What to chase in the logs before trusting the figures.
-- A row is one kind of loose end; rows counts jobs, or log rows where it says so.
-- Parameters: $as_of date.
-- Not counted: repairs without a log where the depot has no row of such a log at all.
-- Merged: sums of rows in counted, then the rest.
with
-- one row a kind of loose end of jobs
counted as (
    select 'closed repair without a step log' as what, cast(count(*) as bigint) as rows
    from job_logs as j
    where j.disposition = 'repaired' and j.closed_on <= $as_of and not j.logged
    union all
    select 'closed repair without diagnostics', cast(count(*) as bigint)
    from job_logs as j
    where j.disposition = 'repaired' and j.closed_on <= $as_of and j.tests is null and j.later_tests is null
    union all
    select 'job open for more than 90 days', cast(count(*) as bigint)
    from job_logs as j
    where j.disposition = 'open' and date_diff('day', j.opened_on, $as_of) > 90
    union all
    select 'job that overlaps another on its unit', cast(count(*) as bigint)
    from overlapping_jobs
    union all
    select 'job never closed that overlaps others on its unit', cast(count(*) as bigint)
    from overlapping_jobs
    where closed_at is null
    union all
    select 'return without a confirmed fault', cast(count(*) as bigint)
    from job_logs
    where class = 'unknown'
)
select what, rows
from counted
where case what
    when 'closed repair without a step log' then exists (select 1 from held_rows where what = 'steps')
    when 'closed repair without diagnostics' then exists (select 1 from held_rows where what = 'diagnostics')
    else true
end
union all
select 'step attempt (row) without a job', cast(coalesce(sum(rows), 0) as bigint)
from held_rows
where what = 'steps without a job'
union all
select 'diagnostic run (row) without a job', cast(coalesce(sum(rows), 0) as bigint)
from held_rows
where what = 'runs without a job'
union all
select 'part (row) without a job', cast(coalesce(sum(rows), 0) as bigint)
from held_rows
where what = 'parts without a job'
order by what
