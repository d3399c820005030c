-- The history of each unit since its first closing as an index job: how long it was seen, and when it came back.
-- A row is one unit: first_on (that closing); site, model, procedure, technician and billing of that job (by closing day,
-- then id; 'unknown' where none is given); end_day: the age in days at which it was last seen, that of the day or of its
-- retirement, at most horizon; return_days: its ages at the returns seen up to then, in order, empty for none.
-- Parameters: as_of date, what comes later is left out; horizon: days of age up to which units are looked at;
-- index_disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
create or replace macro unit_histories(as_of, horizon, index_disposition) as table
with
-- one row a unit
units as (
    select
        unit_id,
        min_by(coalesce(site, 'unknown'), row(closed_on, job_id)) as site,
        min_by(coalesce(model, 'unknown'), row(closed_on, job_id)) as model,
        min_by(coalesce(procedure, 'unknown'), row(closed_on, job_id)) as procedure,
        min_by(coalesce(technician, 'unknown'), row(closed_on, job_id)) as technician,
        min_by(coalesce(billing, 'unknown'), row(closed_on, job_id)) as billing,
        min(closed_on) as first_on,
        max(closed_on) as last_closed_on,
        list(return_opened_on) filter (where return_opened_on <= as_of) as returned_on
    from links
    where disposition = index_disposition and closed_on <= as_of
    group by unit_id
),
-- the same with the age at which it was last seen
seen as (
    select
        u.*, cast(least(horizon, date_diff('day', u.first_on, coalesce(r.retired_on, as_of))) as bigint) as end_day
    from units as u
    left join retirements as r
        on r.unit_id = u.unit_id and r.retired_on <= as_of and r.retired_on >= u.last_closed_on
        and (u.returned_on is null or r.retired_on >= list_max(u.returned_on))
)
select
    unit_id, site, model, procedure, technician, billing, first_on, end_day,
    coalesce(
        list_sort([date_diff('day', first_on, on_day) for on_day in returned_on
                   if date_diff('day', first_on, on_day) <= end_day]),
        []
    ) as return_days
from seen
