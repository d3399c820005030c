-- Values measured by diagnostics, from the kept counts by value, with the limits they were held to; first runs and all runs.
-- A row is one group, unit, pair of limits and value, as in readings_by_value.sql.
-- Parameters: none; no run may be left out. Not counted: aborted runs.
-- Grouped by: month, week of day d.day; station of d or 'unknown'; test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, d.lower_limit, d.upper_limit, d.value,
    cast(sum(d.first) as bigint) as first,
    cast(sum(d.every) as bigint) as every
from value_counts as d
where /* filters: */ true /* :filters */
group by all order by all
