-- Returns of units one by one.
-- A row is one index job of a unit that came back (job_id), its return no later than age $upto of the unit; age: days since the
-- closing of the unit's first index job.
-- Parameters: $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
-- Not counted: as in returns_per_unit.sql.
-- Grouped by: month of day u.first_on; job of u.
select
    /* groups: */ u.model as model, /* :groups */
    l.job_id, u.unit_id as of_unit, cast(date_diff('day', u.first_on, l.return_opened_on) as bigint) as age
from unit_histories($as_of, $upto, $disposition) as u
join links as l on l.unit_id = u.unit_id
where l.disposition = $disposition and l.return_opened_on <= $as_of
  and date_diff('day', u.first_on, l.return_opened_on) <= u.end_day and /* filters: */ true /* :filters */
order by all
