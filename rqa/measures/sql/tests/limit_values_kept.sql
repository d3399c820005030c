-- What became of jobs by the value that decided a test, from what is kept of such values.
-- A row is one class of neighbouring values of one group and unit, and whether they failed, as in limit_values.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $side ('upper' or 'lower'), $cuts. No run or attempt may
-- be dated later than $as_of.
-- Not counted: as in limit_values.sql.
-- Grouped by: month of day f.closed_on; test of f.
-- Merged: sums of jobs, escaped, sound, unknown, mended, retested, back in by_value, then the rest.
with
-- one row a day, or whole month, and value of jobs that have matured: what came of them, as far as they passed and stayed away
stayed as (
    select
        /* groups: */ f.test as test, /* :groups */
        f.unit, f.value, false as beyond, f.jobs,
        0 as escaped, f.jobs as sound, 0 as unknown, 0 as mended, 0 as retested, 0 as back
    from passed_values as f
    join tests as t on t.test = f.test
    where f.disposition = $disposition
      and case
          when f.whole_month then last_day(f.closed_on) <= $as_of - $window
          else f.closed_on <= $as_of - $window and last_day(f.closed_on) > $as_of - $window
      end
      and /* filters: */ true /* :filters */
),
-- one row a test of a job that passed and came back: what is different of it
returned as (
    select
        /* groups: */ f.test as test, /* :groups */
        f.unit, f.value, false, 0,
        cast(f.class not in ('no_fault_found', 'unknown') as integer), -1,
        cast(f.class in ('no_fault_found', 'unknown') as integer), 0, 0, 0
    from decided_values as f
    join tests as t on t.test = f.test
    where not f.failed_first and f.disposition = $disposition and date_diff('day', f.closed_on, $as_of) >= $window
      and f.elapsed_days <= $window and (f.class in ('no_fault_found', 'unknown') or f.covers)
      and /* filters: */ true /* :filters */
),
-- one row a test of a job that failed at first by its value: what became of it
failed as (
    select
        /* groups: */ f.test as test, /* :groups */
        f.unit, f.value, true, 1, 0, 0,
        cast(not f.mended and f.untimed as integer), cast(f.mended as integer), cast(not f.mended and not f.untimed as integer),
        cast(
            (f.mended or not f.untimed) and coalesce(f.elapsed_days <= $window, false)
            and f.class not in ('no_fault_found', 'unknown') and f.covers as integer
        )
    from decided_values as f
    join tests as t on t.test = f.test
    where f.failed_first and f.disposition = $disposition and date_diff('day', f.closed_on, $as_of) >= $window
      and case $side when 'upper' then f.over else f.under end and /* filters: */ true /* :filters */
),
-- one row a group, unit, value, and whether it lies beyond its limit
by_value as (
    select
        /* names: */ test, /* :names */ unit, value, beyond, sum(jobs) as jobs,
        sum(escaped) as escaped, sum(sound) as sound, sum(unknown) as unknown,
        sum(mended) as mended, sum(retested) as retested, sum(back) as back
    from (select * from stayed union all select * from returned union all select * from failed) as each_value
    group by all
),
-- The rest: that of limit_values.sql from placed on.
