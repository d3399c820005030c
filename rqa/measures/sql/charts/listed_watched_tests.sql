-- What watched_tests.sql counts, one by one.
-- A row is one case that it counts; failed: its event; group: the test.
-- Parameters: $as_of date, as there. Not counted: as there.
-- The steps: those of watched_tests.sql.
select
    job_id, day as on_day, test as in_group, failed
from checked
order by all
