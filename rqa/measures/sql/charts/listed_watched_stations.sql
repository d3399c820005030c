-- What watched_stations.sql counts, one by one.
-- A row is one case that it counts; failed: its event; group: the station.
-- Parameters: $as_of date, as there. Not counted: as there.
-- The steps: those of watched_stations.sql.
select
    job_id, day as on_day, station as in_group, failed
from checked
order by all
