-- How many jobs are left out of linking as overlapping, and on how many units.
-- A row is the store. Parameters: none.
select
    cast(count(*) as bigint) as jobs,
    cast(count(distinct unit_id) as bigint) as units
from overlapping_jobs
