-- How many steps of the jobs' procedures have a hazard, and how many declared steps have to do with a battery.
-- A row is the store: with_hazards: steps that have some hazard, of procedures that jobs name; of_battery: steps of any
-- procedure that have the hazard, or a battery in their name.
-- Parameters: none. Not counted: nothing.
-- Merged: distinct rows in of_jobs, then the rest.
with
-- one row a procedure that jobs name
of_jobs as (
    select distinct procedure from jobs
)
select
    cast(
        count(*) filter (where len(hazards) > 0 and procedure in (select procedure from of_jobs)) as bigint
    ) as with_hazards,
    cast(count(*) filter (where list_contains(hazards, 'battery') or step ilike '%batter%') as bigint) as of_battery
from procedures
