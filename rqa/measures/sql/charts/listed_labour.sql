-- Repaired jobs with booked labour, one by one.
-- A row is one job. minutes: the labour booked.
-- Parameters: $as_of date: jobs closed later are left out.
-- Not counted: jobs that are open or not repaired, jobs without a booking.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    j.job_id, j.labour_minutes as minutes
from jobs as j
where j.disposition = 'repaired' and j.closed_on <= $as_of and j.labour_minutes is not null
  and /* filters: */ true /* :filters */
order by all
