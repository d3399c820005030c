-- The latest time in the store, the days of the first and the latest dated row, and how many jobs there are.
-- A row is the store. Parameters: none. Not counted: parts, which have no time, and reference tables.
-- Merged: greatest of latest_at, latest_on; least of first_on; sums of jobs.
select
    greatest(
        (select max(opened_at) from jobs), (select max(closed_at) from jobs),
        (select max(ended_at) from steps), (select max(run_at) from diagnostics),
        (select max(retired_at) from retirements)
    ) as latest_at,
    greatest(
        (select max(opened_on) from jobs), (select max(closed_on) from jobs),
        (select max(done_on) from steps), (select max(run_on) from diagnostics),
        (select max(retired_on) from retirements)
    ) as latest_on,
    least(
        (select min(opened_on) from jobs), (select min(closed_on) from jobs),
        (select min(done_on) from steps), (select min(run_on) from diagnostics)
    ) as first_on,
    (select cast(count(*) as bigint) from jobs) as jobs
