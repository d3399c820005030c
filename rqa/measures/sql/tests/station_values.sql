-- Values measured at first runs, by station on comparable work: counts, sums and sums of squares about the middle.
-- A row is one group, unit, station, period, model and procedure. readings counts first runs with a value; total and
-- squares sum their distance from middle, and its square, where a value beyond a fence counts as on the fence;
-- fenced counts those. middle is the group's median, the fences lie three times the distance of its quartiles beyond them;
-- all three are the least values that so many readings do not exceed, and where the quartiles are equal there is no fence.
-- Parameters: $as_of date: later runs are left out. $period: 'month' or 'week', by its first day.
-- Not counted: later runs of the same test in a job, aborted ones, runs without a value, a day, a station or a known job.
-- Grouped by: month, week of day d.run_on; job of d or 'unknown'; station, test of d.
-- Merged: sums of readings in by_value, then middles given back.
with
-- one row a reading
readings as (
    select
        /* groups: */ d.test as test, /* :groups */
        coalesce(d.unit, '') as unit, d.station as at_station, d.model as of_model, d.procedure as of_procedure,
        d.value, 1 as number,
        cast(date_trunc($period, d.run_on) as date) as period
    from runs_of_jobs($as_of) as d
    where d.run = 1 and d.outcome <> 'aborted' and d.value is not null and d.station is not null
      and d.run_on is not null and d.site is not null and /* filters: */ true /* :filters */
),
-- one row a group, unit and value
by_value as (
    select /* names: */ test, /* :names */ unit, value, sum(number) as readings
    from readings
    group by all
),
-- the same with the readings up to that value, and all there are
upto as (
    select
        /* names: */ test, /* :names */ unit, value,
        sum(readings) over (partition by /* names: */ test, /* :names */ unit order by value) as upto,
        sum(readings) over (partition by /* names: */ test, /* :names */ unit) as every
    from by_value
),
-- one row a group and unit: median and quartiles
middles as (
    select
        /* names: */ test, /* :names */ unit,
        min(value) filter (where 2 * upto >= every) as middle,
        min(value) filter (where 4 * upto >= every) as low,
        min(value) filter (where 4 * upto >= 3 * every) as high
    from upto
    group by all
),
-- one row a reading, or a cell and value, as its distance from the middle, cut at the fences
cut as (
    select
        /* names: */ test, /* :names */ unit, r.at_station, r.period, r.of_model, r.of_procedure, r.number, m.middle,
        case
            when m.high = m.low then r.value
            else greatest(least(r.value, m.high + 3 * (m.high - m.low)), m.low - 3 * (m.high - m.low))
        end - m.middle as apart,
        m.high > m.low
        and (r.value > m.high + 3 * (m.high - m.low) or r.value < m.low - 3 * (m.high - m.low)) as beyond
    from readings as r
    join middles as m using (/* names: */ test, /* :names */ unit)
)
select
    /* names: */ test, /* :names */
    nullif(unit, '') as unit, at_station, period, of_model, of_procedure, middle,
    cast(sum(number) as bigint) as readings,
    cast(coalesce(sum(number) filter (where beyond), 0) as bigint) as fenced,
    cast(sum(number * apart) as double) as total,
    cast(sum(number * apart * apart) as double) as squares
from cut
group by all order by all
