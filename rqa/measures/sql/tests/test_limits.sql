-- The limits that measured tests were held to.
-- A row is one test, unit and pair of limits; runs counts those with a value, last_on is the latest day of one.
-- Parameters: $as_of date: later runs are left out. Not counted: aborted runs, runs without a value.
-- Grouped by: test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, cast(count(*) as bigint) as runs,
    max(d.run_on) as last_on
from runs_until($as_of) as d
where d.outcome <> 'aborted' and d.value is not null and /* filters: */ true /* :filters */
group by all order by all
