-- How many steps the procedures declare, and how many of them have to do with a battery.
-- A row is the store: steps; of_them: those with the hazard, or with a battery in their name.
-- Parameters: none. Not counted: nothing.
select
    cast(count(*) as bigint) as steps,
    cast(count(*) filter (where list_contains(hazards, 'battery') or step ilike '%batter%') as bigint) as of_them
from procedures
