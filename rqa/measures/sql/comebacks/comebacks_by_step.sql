-- Come-backs of index jobs by what their step log names: step, bench, tool, phase.
-- A row is one group and class of come-back (null: none seen); a job counts once in each group its log names, so groups
-- overlap and do not add up. Counts as in comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; steps that were skipped are named all the same.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench, tool of s or
--   'unknown'; phase of p or 'unknown'.
with
-- one row an index job and group
logged as (
    select distinct
        l.job_id, l.class, l.matured, l.returned,
        /* groups: */ s.step as step, /* :groups */
    from index_jobs($as_of, $window, $disposition) as l
    join steps as s on s.job_id = l.job_id
    left join declared_steps as p on p.procedure = l.procedure and p.step = s.step
    where /* filters: */ true /* :filters */
)
select
    /* names: */ step, /* :names */
    class, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where matured) as bigint) as matured, cast(count(*) filter (where returned) as bigint) as returned
from logged
group by all
order by all
