-- Returns of units by age, in days since the unit's first closing as an index job: what recurrences are estimated from.
-- A row is one group, kind and age: kind 'end' counts units by the age at which they were last seen; 'return' returns by
-- age, other_day the age at which that unit was last seen; 'pair' pairs of returns of one unit, other_day the later one.
-- Parameters: $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
-- Grouped by: month of day u.first_on; job of u.
with
-- one row a group and age at which units were last seen
ends as (
    select
        /* groups: */ u.model as model, /* :groups */
        u.end_day, count(*) as units
    from unit_histories($as_of, $upto, $disposition) as u
    where /* filters: */ true /* :filters */
    group by all
),
-- one row a unit that came back
seen as (
    select
        /* groups: */ u.model as model, /* :groups */
        u.end_day, u.return_days
    from unit_histories($as_of, $upto, $disposition) as u
    where u.returned_on is not null and /* filters: */ true /* :filters */
),
-- one row a return, with the returns of its unit that came after it
came_back as (
    select
        /* names: */ model, /* :names */
        end_day, unnest(return_days) as day,
        unnest([return_days[place + 1:] for place in range(1, len(return_days) + 1)]) as later_days
    from seen
),
-- one row a group and age of ends, a return, or a pair of returns
events as (
    select
        /* names: */ model, /* :names */
        'end' as kind, end_day as day, cast(null as bigint) as other_day, units as number
    from ends
    union all
    select
        /* names: */ model, /* :names */
        'return', day, end_day, 1
    from came_back
    union all
    select
        /* names: */ model, /* :names */
        'pair', day, unnest(later_days), 1
    from came_back
)
select
    /* names: */ model, /* :names */
    kind, day, other_day, cast(sum(number) as bigint) as number
from events
group by all order by all
