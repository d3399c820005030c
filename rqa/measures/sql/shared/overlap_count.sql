-- How many jobs are left out of linking as overlapping, on how many units, and how many of them were never closed.
-- A row is the store. Parameters: none.
select
    cast(count(*) as bigint) as jobs,
    cast(count(distinct unit_id) as bigint) as units,
    cast(count(*) filter (where closed_at is null) as bigint) as never_closed
from overlapping_jobs
