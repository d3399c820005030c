-- Jobs released with a usual test missing, a last run that failed or was aborted, or tests older than the work, from what is
-- kept of each job.
-- A row is one group, kind of work (procedure, model), check and whether the job was flagged by it, as in release_checks.sql.
-- Parameters: $usual share, $min_cases jobs, $window days, $as_of date: later closings are left out, and no run or attempt may
-- be; $disposition of the released jobs.
-- Not counted: as in release_checks.sql.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
with
-- one row a kind of released job: those alike in what was run and how it ended
kinds as (
    select
        /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
        j.procedure as of_procedure, j.model as of_model, j.closed_on as of_day, j.tests, j.later_tests,
        case when j.tests is not null or j.later_tests is not null then j.failed end as failed,
        case when j.tests is not null or j.later_tests is not null then j.aborted end as aborted,
        j.early,
        count(*) as jobs,
        count(*) filter (where j.linked and date_diff('day', j.closed_on, $as_of) >= $window) as matured,
        count(*) filter (
            where j.linked and date_diff('day', j.closed_on, $as_of) >= $window and j.elapsed_days <= $window
        ) as returned
    from job_logs as j
    where j.disposition = $disposition and j.closed_on <= $as_of
      and j.job_id not in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
      and /* filters: */ true /* :filters */
    group by all
),
-- one row a kind of work and closing day: the tests that its jobs need
needs as (
    select d.of_procedure, d.of_model, d.of_day, list(u.test) as needed
    from (select distinct of_procedure, of_model, of_day from kinds) as d
    join usual_spans($as_of, $disposition, $min_cases, $usual) as u
        on u.of_model = d.of_model and u.of_procedure = d.of_procedure and d.of_day between u.first_on and u.last_on
    group by d.of_procedure, d.of_model, d.of_day
),
-- one row a kind of released job and each check, null where it cannot be judged
checked as (
    select
        k.*,
        case
            when n.needed is not null
                then not list_has_all(string_split(concat_ws(chr(31), k.tests, k.later_tests), chr(31)), n.needed)
        end as missing
    from kinds as k
    left join needs as n on n.of_procedure = k.of_procedure and n.of_model = k.of_model and n.of_day = k.of_day
),
-- one row a group, kind of work and outcome of all checks
outcomes as (
    select
        /* names: */ model, /* :names */
        of_procedure, of_model, missing, failed, aborted, early,
        sum(jobs) as jobs, sum(matured) as matured, sum(returned) as returned
    from checked
    group by all
),
-- one row such an outcome and check that can be judged, and one of 'any' for each
verdicts as (
    select *, 'missing' as check_name, missing as flagged from outcomes where missing is not null
    union all
    select *, 'failed', failed from outcomes where failed is not null
    union all
    select *, 'aborted', aborted from outcomes where aborted is not null
    union all
    select *, 'early', early from outcomes where early is not null
    union all
    select
        *, 'any', greatest(missing, failed, aborted, early)
    from outcomes
)
select
    /* names: */ model, /* :names */
    of_procedure, of_model, check_name as "check", flagged,
    cast(sum(jobs) as bigint) as jobs, cast(sum(matured) as bigint) as matured, cast(sum(returned) as bigint) as returned
from verdicts
group by all order by all
