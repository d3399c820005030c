-- Two runs of one test on one job, one right after the other and nothing done in between: what both said.
-- A row is one group, unit, station of the first and of the second run, and their outcomes. pairs counts them; measured
-- those with two values; difference and squares sum second less first value and its square.
-- Parameters: $as_of date: later runs are left out; $unlogged text[]: sites that keep no step log.
-- A step attempt lies in between if it ended after the first run and began no later than the second; an attempt with one
-- time is taken to begin and end then.
-- Not counted: pairs with an aborted run, or with a step attempt in between; pairs of which that cannot be said, as the
-- job has an attempt without any time or is of a site that keeps no step log, or the second run is dated before the first.
-- Skipped steps are no attempts.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
with
-- one row a run beyond the first
later as (
    select job_id, test, run, run_at, outcome, station, value, unit
    from runs_until($as_of)
    where run > 1
),
-- one row a run and the next one
pairs as (
    select
        /* groups: */ d.test as test, /* :groups */
        d.job_id, a.unit,
        coalesce(d.station, 'unknown') as first_station, coalesce(a.station, 'unknown') as second_station,
        d.outcome as first_outcome, a.outcome as second_outcome,
        case when d.unit is not distinct from a.unit then a.value - d.value end as apart,
        d.run_at as first_at, a.run_at as second_at
    from runs_until($as_of) as d
    left join jobs as j on j.job_id = d.job_id
    join later as a on a.job_id = d.job_id and a.test = d.test and a.run = d.run + 1
    where d.outcome <> 'aborted' and a.outcome <> 'aborted'
      and not list_contains($unlogged::varchar[], coalesce(j.site, 'unknown')) and /* filters: */ true /* :filters */
)
select
    /* names: */ test, /* :names */
    unit, first_station, second_station, first_outcome, second_outcome,
    cast(count(*) as bigint) as pairs,
    cast(count(apart) as bigint) as measured,
    cast(coalesce(sum(apart), 0) as double) as difference,
    cast(coalesce(sum(apart * apart), 0) as double) as squares
from pairs as p
where second_at >= first_at and not exists (
    select 1 from steps as s
    where s.job_id = p.job_id and s.outcome <> 'skipped'
      and coalesce(
          coalesce(s.ended_at, s.started_at) > p.first_at and coalesce(s.started_at, s.ended_at) <= p.second_at, true
      )
)
group by all order by all
