-- Values measured by diagnostics, as counts by value, with the limits they were held to.
-- A row is one day, station, test, unit, pair of limits and value (null: nothing was measured, or not written down); first counts
-- the first runs that have it, every all runs. day is the first one of the week that lies in the month of the run.
-- Not counted: aborted runs.
select
    cast(greatest(date_trunc('month', run_on), date_trunc('week', run_on)) as date) as day,
    station, test, unit, lower_limit, upper_limit, value,
    cast(count(*) filter (where run = 1) as bigint) as first, cast(count(*) as bigint) as every
from diagnostics
where outcome <> 'aborted'
group by all order by all
