-- The units that came back most often.
-- A row is one unit with $least returns or more up to age $upto, the most returns first; at most $most units.
-- Parameters: $least returns, $most units, $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
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
-- one row a unit with so many returns
counted as (
    select unit_id as counted_unit, count(*) as returns, max(day) as last_day
    from came_back
    group by unit_id
    having count(*) >= $least
)
select
    /* names: */ model, /* :names */
    unit_id,
    cast(returns as bigint) as returns,
    cast(end_day as bigint) as end_day,
    first_on as first_closed_on,
    first_on + cast(last_day as integer) as last_return_on
from seen
join counted on counted_unit = unit_id
order by returns desc, end_day, unit_id
limit $most
