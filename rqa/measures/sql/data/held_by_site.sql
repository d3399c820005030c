-- What the store holds of each site's jobs.
-- A row is one site. jobs: its rows of the table jobs; still_open: those not closed; first_day and last_day: the days of
-- the first opening and of the last closing or opening.
-- Parameters: none.
select
    coalesce(site, 'unknown') as site, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where disposition = 'open') as bigint) as still_open,
    min(opened_on) as first_day, max(greatest(opened_on, coalesce(closed_on, opened_on))) as last_day
from jobs
group by all
order by all
