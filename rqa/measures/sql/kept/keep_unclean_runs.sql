-- Runs of diagnostics beyond the first, and failed ones: what became of fails, and what two runs in a row said.
-- A row is one run that failed or was not the first of its test in the job, with the columns of the job (null where the store
-- has no such job). fate: of a failed run, what became of it: 'untimed' (the job has a step attempt without any time, or the
-- next run that passed or failed is dated before it), 'not rerun' (there is no such run), 'failed again', 'after work' (that run
-- passed, and a step attempt lies in between) or 'retest pass' (it passed and none does); elsewhere: that run was at another
-- station. paired: neither this run nor the one right before it was aborted, it is not dated before that one, and no step
-- attempt lies in between; with before_outcome, before_on and before_station of that one, and apart: this value less that one,
-- null unless both have one in the same unit.
-- A step attempt lies in between if it ended after the first of two runs and began no later than the second.
-- Not counted: skipped steps. Reads unclean_attempts.
with
-- one row a test of a job that failed, or was run again
unclean as (
    select distinct job_id, test from diagnostics where outcome = 'fail' or run > 1
),
-- one row a run of such a test, with the next one that passed or failed and the one before
runs as (
    select
        d.job_id, d.test, d.run, d.run_at, d.run_on, d.outcome, d.station, d.value, d.unit,
        lead(case when d.outcome <> 'aborted' then d.run end ignore nulls) over of_test as next_run,
        lag(d.run) over of_test as last_run,
        lag(d.outcome) over of_test as before_outcome,
        lag(d.run_at) over of_test as before_at,
        lag(d.run_on) over of_test as before_on,
        lag(d.station) over of_test as before_station,
        lag(d.value) over of_test as before_value,
        lag(d.unit) over of_test as before_unit
    from diagnostics as d
    join unclean as u on u.job_id = d.job_id and u.test = d.test
    window of_test as (partition by d.job_id, d.test order by d.run)
),
-- one row a run that failed or is not the first, with the next one that passed or failed where it failed
followed as (
    select
        r.*, n.outcome as next_outcome, n.run_at as next_at, n.station as next_station,
        r.last_run = r.run - 1 and r.outcome <> 'aborted' and r.before_outcome <> 'aborted' as is_pair
    from runs as r
    left join runs as n on n.job_id = r.job_id and n.test = r.test and n.run = r.next_run and r.outcome = 'fail'
    where r.outcome = 'fail' or r.run > 1
),
-- one row a failed run that passed next, with work between them
after_work as (
    select distinct f.job_id, f.test, f.run
    from followed as f
    join unclean_attempts as a on a.job_id = f.job_id and a.done_at > f.run_at and a.began_at <= f.next_at
    where f.next_outcome = 'pass'
),
-- one row a run of a pair with work between them
worked_before as (
    select distinct f.job_id, f.test, f.run
    from followed as f
    join unclean_attempts as a on a.job_id = f.job_id and a.done_at > f.before_at and a.began_at <= f.run_at
    where f.is_pair
)
select
    f.job_id, f.test, f.run, f.outcome, f.run_on, f.station,
    j.site, j.model, j.procedure, j.technician, j.billing,
    case
        when f.outcome <> 'fail' then null
        when n.job_id is not null or f.next_at < f.run_at then 'untimed'
        when f.next_outcome is null then 'not rerun' when f.next_outcome = 'fail' then 'failed again'
        when w.job_id is not null then 'after work'
        else 'retest pass'
    end as fate,
    f.outcome = 'fail' and coalesce(f.next_station <> f.station, false) as elsewhere,
    coalesce(f.is_pair and f.run_at >= f.before_at and n.job_id is null and b.job_id is null, false) as paired,
    f.unit, f.before_outcome, f.before_on, f.before_station,
    case when f.unit is not distinct from f.before_unit then f.value - f.before_value end as apart
from followed as f
left join jobs as j on j.job_id = f.job_id
left join (select distinct job_id from unclean_attempts where done_at is null) as n on n.job_id = f.job_id
left join after_work as w on w.job_id = f.job_id and w.test = f.test and w.run = f.run
left join worked_before as b on b.job_id = f.job_id and b.test = f.test and b.run = f.run
