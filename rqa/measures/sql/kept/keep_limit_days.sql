-- The limits that measured tests were held to, by day.
-- A row is one day, test, unit and pair of limits; runs counts those with a value. Not counted: aborted runs, those without one.
select run_on, test, unit, lower_limit, upper_limit, cast(count(*) as bigint) as runs
from diagnostics
where outcome <> 'aborted' and value is not null
group by all order by all
