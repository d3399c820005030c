-- Labour booked on repaired jobs, as counts by value.
-- A row is one group and value: value in minutes, readings counts the jobs that have it.
-- Parameters: $as_of date: jobs closed later are left out.
-- Not counted: jobs that are open or not repaired, jobs without a booking.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    j.labour_minutes as value,
    cast(count(*) as bigint) as readings
from jobs as j
where j.disposition = 'repaired' and j.closed_on <= $as_of and j.labour_minutes is not null
  and /* filters: */ true /* :filters */
group by all order by all
