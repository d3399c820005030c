-- Tests of jobs that were not clean: all but those with a single first run that passed.
-- A row is one test of a job, with the columns of the job (null where the store has no such job) and: linked: whether it is an
-- index job; first_outcome, first_on, first_station of its first run (null where that is not in the store); further runs
-- beyond it, aborted ones among them; last_outcome, last_at of its last run; failed_on, failed_station: of its first run that
-- was not aborted, where that failed (failed). Of such: confirmed (afterwards a step attempt failed, or was one beyond the
-- first, or was at a step that touches the subsystem the test covers), untimed (the job has a step attempt without any time),
-- caught (afterwards such a step was attempted, or any step if that subsystem was confirmed at fault in the job).
-- Not counted: skipped steps. Reads links, unclean_attempts, and the procedures and tests as they are declared now.
with
-- one row a test of a job that was not clean
unclean as (
    select distinct job_id, test from diagnostics where outcome <> 'pass' or run > 1
),
-- the same with what its runs say
run_through as (
    select
        d.job_id, d.test,
        min_by(row(d.outcome, d.run_on, d.station), d.run) filter (where d.run = 1) as first_run,
        count(*) filter (where d.run > 1) as further,
        count(*) filter (where d.run > 1 and d.outcome = 'aborted') as further_aborted,
        max_by(d.outcome, d.run) as last_outcome,
        max_by(d.run_at, d.run) as last_at,
        min_by(row(d.outcome, d.run_on, d.station, d.run_at), d.run) filter (where d.outcome <> 'aborted') as judged
    from diagnostics as d
    join unclean as u on u.job_id = d.job_id and u.test = d.test
    group by d.job_id, d.test
),
-- one row a test of a known job that failed at first, with work after it, and what that was
logged as (
    select
        f.job_id, f.test,
        bool_or(s.outcome = 'fail' or s.attempt > 1 or p.subsystem is not null) as confirmed,
        bool_or(p.subsystem is not null or coalesce(j.found = t.subsystem, false)) as caught
    from run_through as f
    join jobs as j on j.job_id = f.job_id
    join unclean_attempts as s on s.job_id = f.job_id and s.done_at > f.judged[4]
    left join tests as t on t.test = f.test
    left join step_subsystems as p on p.procedure = j.procedure and p.step = s.step and p.subsystem = t.subsystem
    where f.judged[1] = 'fail'
    group by f.job_id, f.test
)
select
    r.job_id, r.test, j.site, j.model, j.procedure, j.technician, j.billing, j.disposition, j.closed_on,
    l.job_id is not null as linked,
    r.first_run[1] as first_outcome, r.first_run[2] as first_on, r.first_run[3] as first_station,
    cast(r.further as integer) as further, cast(r.further_aborted as integer) as further_aborted,
    r.last_outcome, r.last_at,
    coalesce(r.judged[1] = 'fail', false) as failed,
    case when r.judged[1] = 'fail' then r.judged[2] end as failed_on,
    case when r.judged[1] = 'fail' then r.judged[3] end as failed_station,
    coalesce(g.confirmed, false) as confirmed,
    coalesce(r.judged[1] = 'fail', false) and n.job_id is not null as untimed,
    coalesce(g.caught, false) as caught
from run_through as r
left join jobs as j on j.job_id = r.job_id
left join links as l on l.job_id = r.job_id
left join (select distinct job_id from unclean_attempts where done_at is null) as n on n.job_id = r.job_id
left join logged as g on g.job_id = r.job_id and g.test = r.test
