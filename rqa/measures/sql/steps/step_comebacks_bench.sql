-- Come-backs of matured index jobs by the benches they were worked on.
-- A row is one group, bench ('' for all benches together: each job once) and class of come-back (null: none seen). jobs:
-- matured index jobs; returned: those back within $window days. A job counts once under every bench that its log names.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of; jobs whose log names no bench; skipped steps.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
with
-- one row a job and bench
worked as (
    select distinct job_id, bench
    from steps
    where bench is not null and outcome <> 'skipped'
),
-- the same, and a row a job without the bench
each as (
    select job_id, bench from worked
    union all
    select distinct job_id, '' as bench from worked
)
select
    /* groups: */ l.model as model, /* :groups */
    w.bench as at_bench,
    l.class, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where l.returned) as bigint) as returned
from matured_jobs($as_of, $window, $disposition) as l
join each as w on w.job_id = l.job_id
where /* filters: */ true /* :filters */
group by all
order by all
