-- Labour booked on jobs beside the time logged at their steps.
-- A row is one group. jobs: with both; labour_minutes: booked on them; seconds: logged at their steps, all attempts.
-- Parameters: $as_of date: jobs closed (or, while open, opened) later are left out.
-- Not counted: jobs without a booking, or with no step that has a start and an end; skipped steps.
-- Grouped by: month, week of day coalesce(j.closed_on, j.opened_on); job of j or 'unknown'.
select
    /* groups: */ coalesce(j.procedure, 'unknown') as procedure, /* :groups */
    cast(count(*) as bigint) as jobs,
    cast(coalesce(sum(j.labour_minutes), 0) as double) as labour_minutes,
    cast(coalesce(sum(j.seconds), 0) as bigint) as seconds
from job_logs as j
where j.labour_minutes is not null and j.seconds > 0
  and coalesce(coalesce(j.closed_on, j.opened_on) <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
