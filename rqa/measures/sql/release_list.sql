-- Released jobs with a usual test missing, a last run that failed or was aborted, or tests older than the work.
-- A row is one job, check and test; check and what is usual as in release_checks.sql. run_at: the test's last run, null where it
-- is missing; worked_until: the end of the job's last step attempt; returned: whether the job came back within $window days,
-- null where it has not matured or is not linked.
-- Parameters: $usual share, $least jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs; $most rows, the latest closed first.
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
-- one row a released job with tests: how many of those needed it had
had as (
    select l.place, count(u.test) as had
    from last_runs as l
    left join usual as u
        on u.model = l.model and u.procedure = l.procedure and u.test = l.test
        and l.closed_on between u.first_on and u.last_on
    group by l.place
),
-- one row a released job that lacks a test
lacking as (
    select r.job_id, r.model, r.procedure, r.closed_on
    from released as r
    join needs as n on n.model = r.model and n.procedure = r.procedure and n.closed_on = r.closed_on
    left join had as h on h.place = r.place
    where coalesce(h.had, 0) < n.needed
),
-- one row a job with a timed step attempt: when the last one ended
worked as (
    select job_id, max(coalesce(ended_at, started_at)) as until
    from steps
    where outcome <> 'skipped' and coalesce(ended_at, started_at) is not null and coalesce(done_on <= $as_of, true)
    group by job_id
),
-- one row a job, check and test
flagged as (
    select k.job_id, 'missing' as check_name, u.test, cast(null as timestamp) as run_at
    from lacking as k
    join usual as u
        on u.model = k.model and u.procedure = k.procedure and k.closed_on between u.first_on and u.last_on
    left join last_runs as l on l.job_id = k.job_id and l.test = u.test
    where l.job_id is null
    union all
    select job_id, case when outcome = 'fail' then 'failed' else 'aborted' end, test, run_at
    from last_runs
    where outcome <> 'pass'
    union all
    select l.job_id, 'early', l.test, l.run_at
    from last_runs as l
    join worked as w on w.job_id = l.job_id and l.run_at < w.until
)
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    f.job_id, j.unit_id, j.closed_on,
    f.check_name as "check",
    f.test, f.run_at,
    w.until as worked_until,
    case when date_diff('day', l.closed_on, $as_of) >= $window then coalesce(l.elapsed_days <= $window, false) end as returned
from flagged as f
join jobs as j on j.job_id = f.job_id
left join links as l on l.job_id = f.job_id
left join worked as w on w.job_id = f.job_id
where /* filters: */ true /* :filters */
order by j.closed_on desc, f.job_id, "check", f.test
limit $most
