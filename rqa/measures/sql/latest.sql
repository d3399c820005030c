-- The latest time in the store, the day of the latest dated row, and how many jobs there are.
-- A row is the store. Parameters: none. Not counted: parts and reference tables.
select
    greatest(
        (select max(opened_at) from jobs), (select max(closed_at) from jobs),
        (select max(ended_at) from steps), (select max(run_at) from diagnostics)
    ) as latest_at,
    greatest(
        (select max(opened_on) from jobs), (select max(closed_on) from jobs),
        (select max(done_on) from steps), (select max(run_on) from diagnostics)
    ) as latest_on,
    (select cast(count(*) as bigint) from jobs) as jobs
