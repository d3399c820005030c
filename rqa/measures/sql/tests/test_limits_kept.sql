-- The limits that measured tests were held to, from the kept counts by day.
-- A row is one test, unit and pair of limits, as in test_limits.sql.
-- Parameters: none; no run may be left out. Not counted: aborted runs, runs without a value.
-- Grouped by: test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, cast(sum(d.runs) as bigint) as runs,
    max(d.run_on) as last_on
from limit_days as d
where /* filters: */ true /* :filters */
group by all order by all
