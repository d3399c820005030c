-- Returns of units by age, in days since the unit's first closing as an index job: what recurrences are estimated from.
-- A row is one group, kind and age: kind 'end' counts units by the age at which they were last seen; 'return' returns by
-- age, other_day the age at which that unit was last seen; 'pair' pairs of returns of one unit, other_day the later one.
-- Parameters: $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
with
-- one row a unit: its group is that of its first index job (by closing day, then id)
units as (
    select
        l.unit_id,
        /* groups: */ min_by(l.model, row(l.closed_on, l.job_id)) as model, /* :groups */
        min(l.closed_on) as first_on,
        max(l.closed_on) as last_closed_on,
        max(l.return_opened_on) filter (where l.return_opened_on <= $as_of) as last_return_on
    from links as l
    where l.disposition = $disposition and l.closed_on <= $as_of
    group by l.unit_id
    having /* filters: */ true /* :filters */
),
-- the same with the age at which it was last seen: that of $as_of or of its retirement, at most $upto
seen as (
    select u.*, least($upto, date_diff('day', u.first_on, coalesce(r.retired_on, $as_of))) as end_day
    from units as u
    left join retirements as r
        on r.unit_id = u.unit_id and r.retired_on <= $as_of and r.retired_on >= u.last_closed_on
        and (u.last_return_on is null or r.retired_on >= u.last_return_on)
),
-- one row a return that was seen
returns as (
    select unit_id as returned_unit, job_id as return_of, return_opened_on
    from links
    where disposition = $disposition and closed_on <= $as_of and return_opened_on <= $as_of
),
-- the same with the age of its unit
came_back as (
    select
        unit_id, /* names: */ model, /* :names */
        end_day, return_of, date_diff('day', first_on, return_opened_on) as day
    from seen
    join returns on returned_unit = unit_id
    where date_diff('day', first_on, return_opened_on) <= end_day
),
-- the same again under other names, to be set beside
later as (
    select unit_id as later_unit, return_of as later_job, day as later_day
    from came_back
)
select
    /* names: */ model, /* :names */
    'end' as kind, cast(end_day as bigint) as day, cast(null as bigint) as other_day, cast(count(*) as bigint) as number
from seen
group by all
union all
select
    /* names: */ model, /* :names */
    'return', cast(day as bigint), cast(end_day as bigint), cast(count(*) as bigint)
from came_back
group by all
union all
select
    /* names: */ model, /* :names */
    'pair', cast(day as bigint), cast(later_day as bigint), cast(count(*) as bigint)
from came_back
join later on later_unit = unit_id and (later_day > day or (later_day = day and later_job > return_of))
group by all
order by all
