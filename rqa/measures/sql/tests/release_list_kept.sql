-- Released jobs with a usual test missing, a last run that failed or was aborted, or tests older than the work, found by what
-- is kept of each job.
-- A row is one job, check and test, as in release_list.sql.
-- Parameters: $usual share, $min_cases jobs, $window days, $as_of date: later closings are left out, and no run or attempt may
-- be; $disposition of the released jobs; $limit rows, the latest closed first.
-- Not counted: as in release_list.sql.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
with
-- one row a released job
released as not materialized (
    select *, date_diff('day', closed_on, $as_of) >= $window as is_ripe
    from job_logs
    where disposition = $disposition and closed_on <= $as_of
      and job_id not in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
),
-- one row a kind of work and closing day: the tests that its jobs need
needs as (
    select d.model, d.procedure, d.closed_on, list(u.test) as needed
    from (select distinct model, procedure, closed_on from released) as d
    join usual_spans($as_of, $disposition, $min_cases, $usual) as u
        on u.of_model = d.model and u.of_procedure = d.procedure and d.closed_on between u.first_on and u.last_on
    group by d.model, d.procedure, d.closed_on
),
-- one row a kind of work, day and set of tests that lacks usual ones: those
lacking as (
    select
        k.model, k.procedure, k.closed_on, k.tests, k.later_tests,
        [test for test in n.needed
         if not list_contains(string_split(concat_ws(chr(31), k.tests, k.later_tests), chr(31)), test)] as missing
    from (select distinct model, procedure, closed_on, tests, later_tests from released) as k
    join needs as n on n.model = k.model and n.procedure = k.procedure and n.closed_on = k.closed_on
    where not list_has_all(string_split(concat_ws(chr(31), k.tests, k.later_tests), chr(31)), n.needed)
),
-- one row a flagged job; each has a row or more below, so the latest ones are enough
latest_jobs as materialized (
    select
        /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
        j.job_id, j.unit_id, j.closed_on, j.worked_until, j.tested_from, j.tested_to, n.missing,
        case when j.linked and j.is_ripe then coalesce(j.elapsed_days <= $window, false) end as returned
    from released as j
    left join lacking as n
        on n.model = j.model and n.procedure = j.procedure and n.closed_on = j.closed_on
        and n.tests is not distinct from j.tests and n.later_tests is not distinct from j.later_tests
    where (j.failed or j.aborted or j.early or n.missing is not null) and /* filters: */ true /* :filters */
    order by j.closed_on desc, j.job_id
    limit $limit
),
-- one row such a job with a test older than its work, and day on which it may have had a run: the engine looks at these alone
days_tested as (
    select job_id, worked_until, cast(unnest(generate_series(tested_from, tested_to, interval 1 day)) as date) as on_day
    from latest_jobs
    where tested_from is not null
),
-- one row a job, check and test
flagged as (
    select job_id, 'missing' as check_name, unnest(missing) as test, cast(null as timestamp) as run_at
    from latest_jobs
    union all
    select u.job_id, case when u.last_outcome = 'fail' then 'failed' else 'aborted' end, u.test, u.last_at
    from unclean_tests as u
    join latest_jobs as j on j.job_id = u.job_id
    where u.last_outcome <> 'pass'
    union all
    select d.job_id, 'early', d.test, max_by(d.run_at, d.run)
    from diagnostics as d
    join days_tested as j on j.job_id = d.job_id and j.on_day = d.run_on
    group by d.job_id, d.test
    having max_by(d.run_at, d.run) < max(j.worked_until)
)
select
    /* names: */ model, /* :names */
    f.job_id, j.unit_id, j.closed_on,
    f.check_name as "check",
    f.test, f.run_at,
    j.worked_until,
    j.returned
from flagged as f
join latest_jobs as j on j.job_id = f.job_id
order by j.closed_on desc, f.job_id, "check", f.test
limit $limit
