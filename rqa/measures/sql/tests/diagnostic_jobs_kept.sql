-- Jobs that were tested, from what is kept.
-- A row is one group; jobs: those with a first run of a test, as in diagnostic_jobs.sql.
-- Parameters: none; no run may be left out. Not counted: as in diagnostic_jobs.sql.
-- Grouped by: job of d or 'unknown'.
with
-- one row a job with first runs of tests, and one for all those that the store does not have
tested as (
    select site, model, procedure, technician, billing, 1 as jobs
    from job_logs
    where tests is not null
    union all
    select null, null, null, null, null, rows from held_rows where what = 'tested jobs without a row'
)
select
    /* groups: */ coalesce(d.model, 'unknown') as model, /* :groups */
    cast(coalesce(sum(d.jobs), 0) as bigint) as jobs
from tested as d
where /* filters: */ true /* :filters */
group by all order by all
