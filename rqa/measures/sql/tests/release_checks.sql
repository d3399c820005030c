-- Jobs released with a usual test missing, a last run that failed or was aborted, or tests older than the work.
-- A row is one group, kind of work (procedure, model), check and whether the job was flagged by it. check: 'missing' (a usual
-- test was not run; judged: jobs that have usual tests), 'failed' (the last run of some test failed), 'aborted' (the last run of
-- some test was aborted; both judged: jobs with tests), 'early' (the last run of some test came before the end of the last step
-- attempt; judged: jobs with tests and a timed attempt), 'any' (one of these; judged: jobs of which one of them can be).
-- flagged is null, of 'any' alone, for jobs of which none of these can be judged.
-- jobs: released jobs; matured: those that can be followed $window days and are linked; returned: those of them that came back
-- within $window days.
-- A test is usual for a kind of work if it was run (first runs count) on at least the share $usual of its jobs released from the
-- day on which the first job with that test was closed to that of the last one, of at least $least; only jobs closed on these
-- days need it.
-- Parameters: $usual share, $least jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs.
-- Not counted: skipped steps; jobs of which a run was refused at load, as nobody knows what it would have said.
with
-- one row a released job of which no run was refused at load
released as (
    select row_number() over () as place, job_id, model, procedure, closed_on
    from jobs
    where
        disposition = $disposition and closed_on <= $as_of
        and job_id not in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
),
-- one row a test of a released job whose first run is there
first_runs as (
    select r.place, r.model, r.procedure, r.closed_on, d.test
    from diagnostics as d
    join released as r on r.job_id = d.job_id
    where d.run = 1 and coalesce(d.run_on <= $as_of, true)
),
-- one row a kind of work and day
days as (
    select model, procedure, closed_on, count(*) as jobs
    from released
    group by model, procedure, closed_on
),
-- one row a kind of work, test and day
run_days as (
    select model, procedure, test, closed_on, count(*) as jobs
    from first_runs
    group by model, procedure, test, closed_on
),
-- one row a kind of work and test: from when to when it was run, and in how many jobs
spans as (
    select model, procedure, test, min(closed_on) as first_on, max(closed_on) as last_on, sum(jobs) as run_in
    from run_days
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
-- one row a released job that seems to lack a test, by its first runs
short as (
    select r.place, r.job_id, r.model, r.procedure, r.closed_on
    from released as r
    join needs as n on n.model = r.model and n.procedure = r.procedure and n.closed_on = r.closed_on
    left join (
        select f.place, count(*) as had
        from first_runs as f
        join usual as u
            on u.model = f.model and u.procedure = f.procedure and u.test = f.test
            and f.closed_on between u.first_on and u.last_on
        group by f.place
    ) as h on h.place = r.place
    where coalesce(h.had, 0) < n.needed
),
-- one row a job and usual test that was not run at all
lacking as (
    select s.place, s.job_id, u.test
    from short as s
    join usual as u
        on u.model = s.model and u.procedure = s.procedure and s.closed_on between u.first_on and u.last_on
    where not exists (
        select 1 from diagnostics as d
        where d.job_id = s.job_id and d.test = u.test and coalesce(d.run_on <= $as_of, true)
    )
),
-- one row a test of a job that has a run which did not pass: the last of these
not_passed as (
    select job_id, test, max(run) as run, max_by(outcome, run) as outcome, max_by(run_at, run) as run_at
    from diagnostics
    where outcome <> 'pass' and coalesce(run_on <= $as_of, true)
    group by job_id, test
),
-- one row a test of a released job whose last run did not pass
unpassed as (
    select r.place, n.job_id, n.test, n.outcome, n.run_at
    from not_passed as n
    join released as r on r.job_id = n.job_id
    left join (
        select job_id, test, run from diagnostics where run > 1 and outcome = 'pass' and coalesce(run_on <= $as_of, true)
    ) as p on p.job_id = n.job_id and p.test = n.test and p.run > n.run
    where p.job_id is null
),
-- one row a job with a timed step attempt: when the last one ended
worked as (
    select job_id, max(coalesce(ended_at, started_at)) as until
    from steps
    where outcome <> 'skipped' and coalesce(ended_at, started_at) is not null and coalesce(done_on <= $as_of, true)
    group by job_id
),
-- one row a test of a released job whose last run came before the end of the last step attempt
older as (
    select e.place, e.job_id, e.test, e.run_at
    from (
        select r.place, d.job_id, d.test, d.run, d.run_at
        from diagnostics as d
        join released as r on r.job_id = d.job_id
        join worked as w on w.job_id = d.job_id and d.run_at < w.until
        where coalesce(d.run_on <= $as_of, true)
    ) as e
    left join (
        select job_id, test, run from diagnostics where run > 1 and coalesce(run_on <= $as_of, true)
    ) as n on n.job_id = e.job_id and n.test = e.test and n.run > e.run
    where n.job_id is null
),
-- one row a job with tests
tested as (
    select distinct job_id
    from diagnostics
    where coalesce(run_on <= $as_of, true)
),
-- one row a released job: each check, null where it cannot be judged
checked as (
    select
        r.job_id,
        case when n.needed is not null then r.place in (select place from lacking) end as missing,
        case when t.job_id is not null then r.place in (select place from unpassed where outcome = 'fail') end as failed,
        case
            when t.job_id is not null then r.place in (select place from unpassed where outcome = 'aborted')
        end as aborted,
        case when t.job_id is not null and w.job_id is not null then r.place in (select place from older) end as early
    from released as r
    left join needs as n on n.model = r.model and n.procedure = r.procedure and n.closed_on = r.closed_on
    left join tested as t on t.job_id = r.job_id
    left join worked as w on w.job_id = r.job_id
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
        case
            when coalesce(missing, failed, aborted, early) is not null
                then coalesce(missing, false) or coalesce(failed, false) or coalesce(aborted, false) or coalesce(early, false)
        end
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
