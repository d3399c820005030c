-- The time zone of each site that has jobs: its own, else that of the sites which the mapping does not name.
-- A row is one site; zone is null where the mapping tells none. Parameters: none.
-- Merged: distinct rows.
select s.site, coalesce(own.zone, others.zone) as zone
from (select distinct site from jobs) as s
left join clocks as own on own.site = s.site
left join clocks as others on others.site is null
order by s.site
