-- What watched_benches.sql counts, one by one.
-- A row is one case that it counts; failed: its event; group: the bench.
-- Parameters: $as_of date, as there. Not counted: as there.
-- The steps: those of watched_benches.sql.
select
    job_id, turn, day as on_day, bench as in_group, failed
from checked
order by all
