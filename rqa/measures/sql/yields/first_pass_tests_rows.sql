-- First runs of diagnostics by outcome, from the rows.
-- A row is one group. exposures = passed + failed; unchecked = aborted.
-- Parameters: $as_of date: later runs are left out. Not counted: later runs of the same test in a job.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
with
-- one row a group and outcome: one plain count is far cheaper than four conditional ones
outcomes as (
    select
        /* groups: */ d.test as test, /* :groups */
        d.outcome as outcome,
        count(*) as runs
    from first_runs($as_of) as d left join jobs as j on j.job_id = d.job_id
    where /* filters: */ true /* :filters */
    group by all
)
select
    /* names: */ test, /* :names */
    cast(coalesce(sum(runs) filter (where outcome in ('pass', 'fail')), 0) as bigint) as exposures,
    cast(coalesce(sum(runs) filter (where outcome = 'pass'), 0) as bigint) as passed,
    cast(coalesce(sum(runs) filter (where outcome = 'fail'), 0) as bigint) as failed,
    cast(coalesce(sum(runs) filter (where outcome in ('aborted')), 0) as bigint) as unchecked
from outcomes
group by all
order by all
