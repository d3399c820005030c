-- Values measured at first runs of diagnostics, from the kept counts by value, with the limits they were held to.
-- A row is one group, unit, pair of limits and value, as in measured_tests.sql.
-- Parameters: none; no run may be left out. Not counted: as in measured_tests.sql.
-- Grouped by: month, week of day d.day; station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, d.value,
    cast(sum(d.first) as bigint) as readings
from value_counts as d
where d.first > 0 and d.value is not null and /* filters: */ true /* :filters */
group by all order by all
