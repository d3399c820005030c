-- What became of failed runs of diagnostics: passed again with nothing done in between, or after work.
-- A row is one group, fate and elsewhere; runs counts those that passed or failed (fate ''), and the failed ones among them
-- by what became of them: 'untimed' (the job has a step attempt without any time, or the next run is dated before the failed
-- one, so that nothing can be said), 'not rerun' (no later run of the test passed or failed), 'failed again' (the next one
-- failed), 'after work' (the next one passed and a step attempt lies in between), 'retest pass' (it passed and none does).
-- elsewhere: the next run was at another station. 'no step log': the job is of a site named in $unlogged.
-- A step attempt lies in between if it ended after the failed run and began no later than the next one; an attempt with one
-- time is taken to begin and end then. A run belongs to its own station and day.
-- Parameters: $as_of date: later runs are left out; $unlogged text[]: sites that keep no step log, at which nobody can say
-- what was done in between.
-- Not counted: aborted runs, neither as failed nor as next; skipped steps.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
-- Merged: sums of runs.
with
-- one row a failed run
failed as (
    select job_id, test, run, run_at, run_on, station
    from runs_until($as_of)
    where outcome = 'fail'
),
-- one row a run beyond the first that passed or failed
later as (
    select job_id, test, run, run_at, outcome, station
    from runs_until($as_of)
    where run > 1 and outcome in ('pass', 'fail')
),
-- one row a failed run, with the next one that passed or failed
followed as (
    select
        f.job_id, f.test, f.run, f.run_at, f.run_on, f.station,
        min_by(n.outcome, n.run) as next_outcome,
        min_by(n.run_at, n.run) as next_at,
        min_by(coalesce(n.station, ''), n.run) as next_station
    from failed as f
    left join later as n on n.job_id = f.job_id and n.test = f.test and n.run > f.run
    group by all
),
-- one row an attempt at a step in these jobs
attempts as (
    select
        s.job_id,
        coalesce(s.started_at, s.ended_at) as began_at,
        coalesce(s.ended_at, s.started_at) as done_at
    from steps as s
    where s.outcome <> 'skipped' and s.job_id in (select job_id from failed)
),
-- one row a job in which an attempt has no time
untimed as (
    select distinct job_id
    from attempts
    where done_at is null
),
-- one row a failed run with work before the next one
worked as (
    select distinct f.job_id, f.test, f.run
    from followed as f
    join attempts as a on a.job_id = f.job_id and a.done_at > f.run_at and a.began_at <= f.next_at
),
-- one row a failed run and what became of it
fates as (
    select
        f.job_id, f.test, f.run, f.run_on, f.station,
        case
            when u.job_id is not null or f.next_at < f.run_at then 'untimed'
            when f.next_outcome is null then 'not rerun'
            when f.next_outcome = 'fail' then 'failed again'
            when w.job_id is not null then 'after work'
            else 'retest pass'
        end as fate,
        coalesce(f.next_station <> '' and f.next_station <> f.station, false) as elsewhere
    from followed as f
    left join untimed as u on u.job_id = f.job_id
    left join worked as w on w.job_id = f.job_id and w.test = f.test and w.run = f.run
)
select
    /* groups: */ d.test as test, /* :groups */
    '' as fate, false as elsewhere, cast(count(*) as bigint) as runs
from runs_until($as_of) as d
left join jobs as j on j.job_id = d.job_id
where d.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
group by all
union all
select
    /* groups: */ d.test as test, /* :groups */
    case when list_contains($unlogged::varchar[], coalesce(j.site, 'unknown')) then 'no step log' else d.fate end,
    d.elsewhere, cast(count(*) as bigint)
from fates as d
left join jobs as j on j.job_id = d.job_id
where /* filters: */ true /* :filters */
group by all order by all
