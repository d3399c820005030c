-- Jobs named one by one.
-- A row is one job. Parameters: $jobs text[], their ids. Not counted: jobs that are not in the store.
select distinct job_id
from jobs
where list_contains($jobs::varchar[], job_id)
order by all
