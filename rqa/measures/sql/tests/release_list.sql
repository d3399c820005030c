-- Released jobs with a usual test missing, a last run that failed or was aborted, or tests older than the work.
-- A row is one job, check and test; check and what is usual as in release_checks.sql. run_at: the test's last run, null where it
-- is missing; worked_until: the end of the job's last step attempt; returned: whether the job came back within $window days,
-- null where it has not matured or is not linked.
-- Parameters: $usual share, $min_cases jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs; $limit rows, the latest closed first.
-- Not counted: skipped steps; jobs of which a run was refused at load, as nobody knows what it would have said.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
-- Merged: whole.
with
-- one row a job, check and test
flagged as (
    select job_id, 'missing' as check_name, unnest(missing) as test, cast(null as timestamp) as run_at
    from usual_tests($as_of, $disposition, $min_cases, $usual)
    union all
    select job_id, case when outcome = 'fail' then 'failed' else 'aborted' end, test, run_at
    from unpassed_tests($as_of)
    union all
    select job_id, 'early', test, run_at
    from outdated_tests($as_of)
)
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    f.job_id, j.unit_id, j.closed_on,
    f.check_name as "check",
    f.test, f.run_at,
    w.worked_until,
    case when l.matured then l.returned end as returned
from flagged as f
join released_jobs($as_of, $disposition) as j on j.job_id = f.job_id
left join index_jobs($as_of, $window, $disposition) as l on l.job_id = f.job_id
left join work_ended($as_of) as w on w.job_id = f.job_id
where /* filters: */ true /* :filters */
order by j.closed_on desc, f.job_id, "check", f.test
limit $limit
