-- Jobs released with a usual test missing, a last run that failed or was aborted, or tests older than the work.
-- A row is one group, kind of work (procedure, model), check and whether the job was flagged by it. check: 'missing' (a usual
-- test was not run; judged: jobs that have usual tests), 'failed' (the last run of some test failed), 'aborted' (the last run of
-- some test was aborted; both judged: jobs with tests), 'early' (the last run of some test came before the end of the last step
-- attempt; judged: jobs with tests and a timed attempt), 'any' (one of these; judged: all released).
-- jobs: released jobs; matured: those that can be followed $window days and are linked; returned: those of them that came back
-- within $window days.
-- A test is usual for a kind of work if it was run on at least the share $usual of its jobs released from the day on which the
-- first job with that test was closed to that of the last one, of at least $least; only jobs closed on these days need it.
-- Parameters: $usual share, $least jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs.
-- Not counted: skipped steps.
with
-- one row a released job
released as (
    select row_number() over () as place, job_id, model, procedure, closed_on
    from jobs
    where disposition = $disposition and closed_on <= $as_of
),
-- one row a test of a job that was run again: its last run
again as (
    select job_id, test, max(run) as run
    from diagnostics
    where run > 1 and coalesce(run_on <= $as_of, true)
    group by job_id, test
),
-- one row a test of a released job: how and when its last run ended
last_runs as (
    select r.job_id, r.place, r.model, r.procedure, r.closed_on, d.test, d.outcome, d.run_at
    from diagnostics as d
    join released as r on r.job_id = d.job_id
    left join again as a on a.job_id = d.job_id and a.test = d.test
    where coalesce(d.run_on <= $as_of, true) and (a.run is null or d.run = a.run)
),
-- one row a kind of work and day
days as (
    select model, procedure, closed_on, count(*) as jobs
    from released
    group by model, procedure, closed_on
),
-- one row a kind of work and test: from when to when it was run, and in how many jobs
spans as (
    select model, procedure, test, min(closed_on) as first_on, max(closed_on) as last_on, count(*) as run_in
    from last_runs
    group by model, procedure, test
),
-- one row a kind of work and usual test
usual as (
    select s.model, s.procedure, s.test, s.first_on, s.last_on
    from spans as s
    join days as d
        on d.model = s.model and d.procedure = s.procedure and d.closed_on between s.first_on and s.last_on
    group by s.model, s.procedure, s.test, s.first_on, s.last_on, s.run_in
    having sum(d.jobs) >= $least and s.run_in >= $usual * sum(d.jobs)
),
-- one row a kind of work and day: how many tests its jobs need
needs as (
    select d.model, d.procedure, d.closed_on, count(*) as needed
    from days as d
    join usual as u
        on u.model = d.model and u.procedure = d.procedure and d.closed_on between u.first_on and u.last_on
    group by d.model, d.procedure, d.closed_on
),
-- one row a released job with tests
tested as (
    select
        l.place,
        count(u.test) as had,
        bool_or(l.outcome = 'fail') as failed,
        bool_or(l.outcome = 'aborted') as aborted,
        min(l.run_at) as oldest
    from last_runs as l
    left join usual as u
        on u.model = l.model and u.procedure = l.procedure and u.test = l.test
        and l.closed_on between u.first_on and u.last_on
    group by l.place
),
-- one row a job with a timed step attempt: when the last one ended
worked as (
    select job_id, max(coalesce(ended_at, started_at)) as until
    from steps
    where outcome <> 'skipped' and coalesce(ended_at, started_at) is not null and coalesce(done_on <= $as_of, true)
    group by job_id
),
-- one row a released job: each check, null where it cannot be judged
checked as (
    select
        r.job_id,
        case when n.needed is not null then coalesce(t.had, 0) < n.needed end as missing,
        t.failed,
        t.aborted,
        t.oldest < w.until as early
    from released as r
    left join needs as n on n.model = r.model and n.procedure = r.procedure and n.closed_on = r.closed_on
    left join tested as t on t.place = r.place
    left join worked as w on w.job_id = r.job_id
),
-- one row a job and check that can be judged
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
        coalesce(missing, false) or coalesce(failed, false) or coalesce(aborted, false) or coalesce(early, false)
    from checked
)
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    j.procedure as of_procedure,
    j.model as of_model,
    v.check_name as "check",
    v.flagged,
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where date_diff('day', l.closed_on, $as_of) >= $window) as bigint) as matured,
    cast(
        count(*) filter (
            where date_diff('day', l.closed_on, $as_of) >= $window and l.elapsed_days <= $window
        ) as bigint
    ) as returned
from verdicts as v
join jobs as j on j.job_id = v.job_id
left join links as l on l.job_id = v.job_id
where /* filters: */ true /* :filters */
group by all
order by all
