-- How often each site gives the columns of its jobs that a mapping may leave out.
-- A row is one site and column; jobs: its closed repairs; given: those that have it.
-- Parameters: $as_of date.
with
-- one row a job and column
told as (
    select coalesce(site, 'unknown') as site, unnest([
        {'name': 'complaint', 'there': complaint is not null}, {'name': 'found', 'there': found is not null},
        {'name': 'technician', 'there': technician is not null}, {'name': 'billing', 'there': billing is not null},
        {'name': 'labour_minutes', 'there': labour_minutes is not null},
        {'name': 'parts_cost', 'there': parts_cost is not null},
        {'name': 'freight_cost', 'there': freight_cost is not null}
    ], recursive := true)
    from jobs
    where closed_on <= $as_of and disposition = 'repaired'
)
select site, name as column_name, cast(count(*) as bigint) as jobs, cast(count(*) filter (where there) as bigint) as given
from told
group by all
order by all
