-- Jobs left out of linking because they overlap in time with another job on their unit.
-- A row is one such job, with one job it overlaps. Parameters: $limit rows.
-- Not counted: cancelled jobs.
select unit_id, job_id, opened_at, closed_at, other_job_id
from overlapping_jobs
order by unit_id, opened_at, closed_at nulls last, job_id
limit $limit
