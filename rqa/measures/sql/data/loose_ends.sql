-- What to chase in the logs before trusting the figures.
-- A row is one kind of loose end; rows counts jobs, or log rows where it says so.
-- Parameters: $as_of date.
-- Not counted: repairs without a log where the depot has no row of such a log at all.
select 'closed repair without a step log' as what, cast(count(*) as bigint) as rows
from jobs as j
where j.disposition = 'repaired' and j.closed_on <= $as_of and j.job_id not in (select distinct job_id from steps)
having (select count(*) from steps) > 0
union all
select 'closed repair without diagnostics', cast(count(*) as bigint)
from jobs as j
where j.disposition = 'repaired' and j.closed_on <= $as_of and j.job_id not in (select distinct job_id from diagnostics)
having (select count(*) from diagnostics) > 0
union all
select 'job open for more than 90 days', cast(count(*) as bigint)
from jobs as j
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
from links
where class = 'unknown'
union all
select 'step attempt (row) without a job', cast(count(*) as bigint)
from steps as s
where s.job_id not in (select job_id from jobs)
union all
select 'diagnostic run (row) without a job', cast(count(*) as bigint)
from diagnostics as d
where d.job_id not in (select job_id from jobs)
union all
select 'part (row) without a job', cast(count(*) as bigint)
from parts as p
where p.job_id not in (select job_id from jobs)
order by what
