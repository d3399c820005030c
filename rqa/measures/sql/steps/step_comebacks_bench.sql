-- Come-backs of matured index jobs by the benches they were worked on.
-- A row is one group, bench ('' for all benches together: each job once) and class of come-back (null: none seen). jobs:
-- matured index jobs; returned: those back within $window days. A job counts once under every bench that its log names.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of; jobs whose log names no bench; skipped steps.
-- Grouped by: month as l.closed_month; week of day l.closed_on; site, model, procedure, billing of l or 'unknown';
--   technician as coalesce(l.job_technician, 'unknown').
with
-- one row a group and bench, or in its stead (apart) one a job with several turns of work, bench and group
cells as (
    select
        /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
        l.bench, l.class, case when l.turns > 1 then l.job_id end as apart,
        count(*) as turns, count(*) filter (where l.returned) as returned
    from (
        select *, cast(date_trunc('month', closed_on) as date) as closed_month
        from index_turns($as_of, $window, $disposition)
    ) as l
    where l.matured and l.worked and l.bench is not null and /* filters: */ true /* :filters */
    group by all
),
-- the same, and a row a group or job without the bench
each as (
    select /* names: */ model, /* :names */ bench, class, apart, sum(turns) as turns, sum(returned) as returned
    from cells
    group by all
    union all
    select /* names: */ model, /* :names */ '' as bench, class, apart, sum(turns) as turns, sum(returned) as returned
    from cells
    group by all
)
select
    /* names: */ model, /* :names */
    bench as at_bench,
    class,
    cast(sum(case when apart is null then turns else 1 end) as bigint) as jobs,
    cast(sum(case when apart is null then returned else least(returned, 1) end) as bigint) as returned
from each
group by all order by all
