-- The units that came back most often.
-- A row is one unit with $min_cases returns or more up to age $upto, the most returns first; at most $limit units.
-- Parameters: $min_cases returns, $limit units, $upto days of age up to which units are looked at, $as_of date,
-- $disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
-- Grouped by: month of day u.first_on; job of u.
select
    /* groups: */ u.model as model, /* :groups */
    u.unit_id,
    cast(len(u.return_days) as bigint) as returns,
    u.end_day,
    u.first_on as first_closed_on,
    u.first_on + cast(u.return_days[-1] as integer) as last_return_on
from unit_histories($as_of, $upto, $disposition) as u
where u.returned_on is not null and len(u.return_days) >= $min_cases and len(u.return_days) > 0 and /* filters: */ true /* :filters */
order by returns desc, end_day, unit_id
limit $limit
