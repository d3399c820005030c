-- First runs of diagnostics by outcome, from the rows.
-- A row is one group. exposures = passed + failed; unchecked = aborted.
-- Parameters: $as_of date: later runs are left out. Not counted: later runs of the same test in a job.
select
    /* groups: */ d.test as test, /* :groups */
    cast(count(*) filter (where d.outcome in ('pass', 'fail')) as bigint) as exposures,
    cast(count(*) filter (where d.outcome = 'pass') as bigint) as passed,
    cast(count(*) filter (where d.outcome = 'fail') as bigint) as failed,
    cast(count(*) filter (where d.outcome = 'aborted') as bigint) as unchecked
from diagnostics as d
left join jobs as j on j.job_id = d.job_id
where d.run = 1 and coalesce(d.run_on <= $as_of, true) and /* filters: */ true /* :filters */
group by all
order by all
