-- Jobs released with a usual test missing, a last run that failed or was aborted, or tests older than the work.
-- A row is one group, kind of work (procedure, model), check and whether the job was flagged by it. check: 'missing' (a usual
-- test was not run; judged: jobs that have usual tests), 'failed' (the last run of some test failed), 'aborted' (the last run of
-- some test was aborted; both judged: jobs with tests), 'early' (the last run of some test came before the end of the last step
-- attempt; judged: jobs with tests and a timed attempt), 'any' (one of these; judged: jobs of which one of them can be).
-- flagged is null, of 'any' alone, for jobs of which none of these can be judged.
-- jobs: released jobs; matured: those that can be followed $window days and are linked; returned: those of them that came back
-- within $window days.
-- A test is usual for a kind of work if it was run (first runs count) on at least the share $usual of its jobs released from the
-- day on which the first job with that test was closed to that of the last one, of at least $min_cases; only jobs
-- closed on these days need it.
-- Parameters: $usual share, $min_cases jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs.
-- Not counted: skipped steps; jobs of which a run was refused at load, as nobody knows what it would have said.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
-- Merged: whole.
with
-- one row a released job
released as (
    select job_id from released_jobs($as_of, $disposition)
),
-- one row a test of a job whose last run did not pass
unpassed as (
    select job_id, outcome from unpassed_tests($as_of)
),
-- one row a job with tests
tested as (
    select distinct job_id from runs_until($as_of)
),
-- one row a released job: each check, null where it cannot be judged
checked as (
    select
        r.job_id,
        case when n.job_id is not null then n.missing is not null end as missing,
        case when t.job_id is not null then r.job_id in (select job_id from unpassed where outcome = 'fail') end as failed,
        case
            when t.job_id is not null then r.job_id in (select job_id from unpassed where outcome = 'aborted')
        end as aborted,
        case
            when t.job_id is not null and w.job_id is not null
                then r.job_id in (select job_id from outdated_tests($as_of))
        end as early
    from released as r
    left join usual_tests($as_of, $disposition, $min_cases, $usual) as n on n.job_id = r.job_id
    left join tested as t on t.job_id = r.job_id
    left join work_ended($as_of) as w on w.job_id = r.job_id
),
-- one row a job and check that can be judged, and one of 'any' for each job
verdicts as (
    select job_id, 'missing' as check_name, missing as flagged from checked where missing is not null
    union all
    select job_id, 'failed', failed from checked where failed is not null
    union all
    select job_id, 'aborted', aborted from checked where aborted is not null
    union all
    select job_id, 'early', early from checked where early is not null
    union all
    select
        job_id, 'any',
        greatest(missing, failed, aborted, early)
    from checked
),
-- one row a job and check, and what became of the job
judged as (
    select v.*, l.matured, l.returned
    from verdicts as v
    left join index_jobs($as_of, $window, $disposition) as l on l.job_id = v.job_id
)
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    j.procedure as of_procedure,
    j.model as of_model,
    v.check_name as "check",
    v.flagged,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where v.matured) as bigint) as matured,
    cast(count(*) filter (where v.returned) as bigint) as returned
from judged as v
join jobs as j on j.job_id = v.job_id
where /* filters: */ true /* :filters */
group by all order by all
