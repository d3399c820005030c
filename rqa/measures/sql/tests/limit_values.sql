-- What became of jobs by the value that decided a test: where its limit lies decides what it catches and what it holds
-- back.
-- A row is one class of neighbouring values of one group and unit, from lowest to highest, and whether they failed; all
-- counts are of jobs. A job's value is that of its first run where that failed by its value, else that of its last run.
-- escaped: passed, and came back within $window days for a fault in the test's subsystem. unknown: passed, and came back
-- with nothing found or nothing written down; or failed by its value, and the job has a step attempt without any time.
-- sound: all others that passed. mended: failed by its value, and passed after a step attempt in between (ended after the
-- first run, begun no later than the last). retested: failed by its value, and passed without one. back: those of mended
-- and retested that then came back as escaped ones did.
-- Classes: the jobs in order of value are cut into $cuts parts, and so is their range, equal values staying together,
-- and those that passed stay apart from those that failed: at most 4 x $cuts classes of a group, 2 x $cuts where the
-- limit never changed.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $side ('upper' or 'lower'), $cuts.
-- Not counted: jobs closed less than $window days before $as_of; jobs of which the last run of any test did not pass;
-- first runs that failed though their value kept the limit on that side; runs aborted or without a value; tests of which
-- the subsystem is not known.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of f.
-- Merged: sums of jobs, escaped, sound, unknown, mended, retested, back in by_value, then the rest.
with
-- one row a matured index job
matured as (
    select
        l.job_id, l.class, l.closed_on, l.closed_month, l.site, l.model, l.procedure, l.technician, l.billing,
        case when l.returned then l.return_job_id end as back_job_id
    from matured_jobs($as_of, $window, $disposition) as l
),
-- one row a job with a test whose last run did not pass
not_passed as (
    select distinct job_id from unpassed_tests($as_of)
),
-- one row a job and test, with its first and its last run that has a value
decided as (
    select
        d.job_id, d.test, d.unit,
        min_by(d.value, d.run) as first_value,
        min_by(d.outcome, d.run) as first_outcome,
        min_by(d.run_at, d.run) as first_at,
        min_by(coalesce(case $side when 'upper' then d.value > d.upper_limit else d.value < d.lower_limit end, false),
               d.run) as beyond,
        max_by(d.value, d.run) as last_value,
        max_by(d.outcome, d.run) as last_outcome,
        max_by(d.run_at, d.run) as last_at
    from runs_until($as_of) as d
    where d.outcome <> 'aborted' and d.value is not null
    group by all
),
-- one row a job and test of which the first run failed, and where the job has step attempts that may lie before the last
worked_on as (
    select
        f.job_id, f.test, f.unit,
        bool_or(coalesce(s.ended_at, s.started_at) > f.first_at and coalesce(s.started_at, s.ended_at) <= f.last_at) as mended,
        bool_or(s.started_at is null and s.ended_at is null) as untimed
    from decided as f
    join steps as s on s.job_id = f.job_id
    where f.first_outcome = 'fail' and s.outcome <> 'skipped'
    group by all
),
-- one row a job and test that counts: its value and what became of it
outcomes as (
    select
        /* groups: */ f.test as test, /* :groups */
        f.unit,
        case when f.first_outcome = 'fail' then f.first_value else f.last_value end as value,
        case
            when f.first_outcome = 'fail' then case
                when w.mended then 'mended' when w.untimed then 'unknown' else 'retested'
            end
            when l.back_job_id is null then 'sound'
            when l.class in ('no_fault_found', 'unknown') then 'unknown'
            when b.found = t.subsystem then 'escaped'
            else 'sound'
        end as outcome,
        f.first_outcome = 'fail' as beyond,
        coalesce(l.class in ('repeat', 'workmanship', 'new_fault') and b.found = t.subsystem, false) as back
    from decided as f
    join matured as l on l.job_id = f.job_id
    join tests as t on t.test = f.test
    left join jobs as b on b.job_id = l.back_job_id
    left join worked_on as w on w.job_id = f.job_id and w.test = f.test and w.unit is not distinct from f.unit
    where f.last_outcome = 'pass' and (f.first_outcome = 'pass' or f.beyond)
      and f.job_id not in (select job_id from not_passed) and /* filters: */ true /* :filters */
),
-- one row a group, unit, value, and whether it lies beyond its limit
by_value as (
    select
        /* names: */ test, /* :names */ unit, value, beyond,
        count(*) as jobs,
        count(*) filter (where outcome = 'escaped') as escaped,
        count(*) filter (where outcome = 'sound') as sound,
        count(*) filter (where outcome = 'unknown') as unknown,
        count(*) filter (where outcome = 'mended') as mended,
        count(*) filter (where outcome = 'retested') as retested,
        count(*) filter (where outcome in ('mended', 'retested') and back) as back
    from outcomes
    group by all
),
-- the same with where the value lies in order and in the range
placed as (
    select
        *,
        sum(jobs) over (partition by /* names: */ test, /* :names */ unit order by value) as upto,
        sum(jobs) over (partition by /* names: */ test, /* :names */ unit) as every,
        min(value) over (partition by /* names: */ test, /* :names */ unit) as min_value,
        max(value) over (partition by /* names: */ test, /* :names */ unit) as max_value
    from by_value
),
-- the same with the class
classed as (
    select
        *,
        floor($cuts * (upto - 1) / every) as by_order,
        case
            when max_value > min_value
                then least(floor($cuts * (value - min_value) / (max_value - min_value)), $cuts - 1)
            else 0
        end as by_range
    from placed
)
select
    /* names: */ test, /* :names */ unit, beyond,
    min(value) as lowest,
    max(value) as highest,
    cast(sum(escaped) as bigint) as escaped,
    cast(sum(sound) as bigint) as sound,
    cast(sum(unknown) as bigint) as unknown,
    cast(sum(mended) as bigint) as mended,
    cast(sum(retested) as bigint) as retested,
    cast(sum(back) as bigint) as back
from classed
group by /* names: */ test, /* :names */ unit, beyond, by_order, by_range
order by /* names: */ test, /* :names */ unit, lowest, beyond
