-- The history of each unit since its first closing as an index job: how long it was seen, and when it came back.
-- A row is one unit: first_on (that closing); site, model, procedure, technician and billing of that job (by closing day,
-- then id; 'unknown' where none is given); end_day: the age in days at which it was last seen, that of the day or of its
-- retirement, at most horizon; return_days: its ages at the returns seen up to then, in order, empty for none; returned_on: the
-- days of all its returns, also of later ones, null for none.
-- Parameters: as_of date, what comes later is left out; horizon: days of age up to which units are looked at;
-- index_disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
create or replace macro unit_histories(as_of, horizon, index_disposition) as table
with
-- one row a unit, with the day on which it left service where nothing contradicts that
seen as (
    select
        u.unit_id, u.site, u.model, u.procedure, u.technician, u.billing, u.first_on, u.returned_on, r.retired_on
    from unit_courses as u
    left join retirements as r
        on r.unit_id = u.unit_id and r.retired_on <= as_of and r.retired_on >= u.first_on
        and (
            u.closings is null
            or list_max([on_day for on_day in u.closings if on_day <= as_of]) <= r.retired_on
        )
        and (
            u.returned_on is null
            or coalesce(list_max([on_day for on_day in u.returned_on if on_day <= as_of]) <= r.retired_on, true)
        )
    where u.disposition = index_disposition and u.first_on <= as_of
),
-- the same with the age at which it was last seen
aged as (
    select *, cast(least(horizon, date_diff('day', first_on, coalesce(retired_on, as_of))) as bigint) as end_day
    from seen
)
select
    unit_id, site, model, procedure, technician, billing, first_on, end_day, returned_on,
    case
        when returned_on is null then []
        else [
            date_diff('day', first_on, on_day) for on_day in returned_on
            if on_day <= as_of and date_diff('day', first_on, on_day) <= end_day
        ]
    end as return_days
from aged
