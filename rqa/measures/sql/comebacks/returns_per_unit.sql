-- How often units came back, and how long they were seen.
-- A row is one group, number of returns of a unit and age (days since its first closing) at which it was last seen; units
-- counts them.
-- Parameters: $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
-- Not counted: returns of other jobs than index jobs. A retirement before a later closing or return is contradicted by it
-- and counts as none.
-- Grouped by: month of day u.first_on; job of u.
select
    /* groups: */ u.model as model, /* :groups */
    cast(len(u.return_days) as bigint) as returns,
    u.end_day,
    cast(count(*) as bigint) as units
from unit_histories($as_of, $upto, $disposition) as u
where /* filters: */ true /* :filters */
group by all order by all
